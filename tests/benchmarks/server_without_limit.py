"""`oralquiz serve`, but refusing no class for its size, to measure how many pupils are too many."""

from __future__ import annotations

from unittest import mock

from oralquiz.cli import main

if __name__ == "__main__":
    with mock.patch("oralquiz.web.hearing_processes.pupils_at_once", return_value=10_000):
        main()
