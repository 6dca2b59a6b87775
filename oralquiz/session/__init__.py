"""One oral round: the runner, the recorder, the session file."""
