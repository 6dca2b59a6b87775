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


def excerpt(given: object, longest: int = 60) -> str:
    """What the user gave, short and on one line, as part of a message; text in quotation marks."""
    try:
        text = given if isinstance(given, str) else repr(given)
    except ValueError:  # Python prints no integer of more than 4,300 digits
        return "a number with too many digits"
    line = " ".join(text[: 4 * longest].split())
    if len(line) > longest or len(text) > 4 * longest:
        line = line[:longest] + "…"
    return f"'{line}'" if isinstance(given, str) else line
