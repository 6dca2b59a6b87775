"""`python -m oralquiz`: the same as the command `oralquiz`."""

from oralquiz.cli import main

if __name__ == "__main__":
    main()
