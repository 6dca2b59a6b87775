"""The errors a teacher may meet. Each message is one line that says what and where."""


class OralquizError(Exception):
    """Base of every error this package raises on purpose."""


class BadInput(OralquizError):
    """Something the user typed, or a file the user gave, cannot be used as it is."""


class FrameError(BadInput):
    """A sum leaves what the bead frame can show."""


class AudioError(OralquizError):
    """A speaker, a microphone or a speech engine is missing or stopped working."""


class ModelError(OralquizError):
    """A recognition model is missing, damaged or of another kind."""


class SessionFileError(BadInput):
    """A session file is damaged, of an unknown version, or not a session file."""
