"""What a page may say to the server, one small class for each message.

A message is a JSON object whose ``t`` names its class; ``from_page`` decodes and checks it. What
the server says is in ``device_messages.py`` and ``live_messages.py``; sound travels in packets
(``packets.py``). Samples are counted at SESSION_RATE on the clock of the page's own stream.
"""

from __future__ import annotations

from typing import Annotated, Literal

import msgspec
from msgspec import Meta, Struct

from oralquiz.errors import BadInput

MESSAGE_BYTES = 2_000
"""The longest JSON message a page has a reason to send."""

MAX_TYPED = 999_999_999

Whole = Annotated[int, Meta(ge=-(2**40), le=2**40)]
Seconds = Annotated[float, Meta(ge=-(2**40), le=2**40)]


class ProtocolError(BadInput):
    """A page sent something that this server's pages never send."""


class Hello(Struct, frozen=True, tag_field="t", tag="hello"):
    """The page is here: the round that it is still streaming, the oldest block that it kept, and
    the number of the last sound that it could play."""

    mic: bool
    run: str
    first: Whole
    play: Whole


class Ready(Struct, frozen=True, tag_field="t", tag="ready"):
    """The button was pressed: the page can sound, and hear if ``mic``."""

    mic: bool


class Delay(Struct, frozen=True, tag_field="t", tag="delay"):
    """How long sound takes out of the loudspeaker and in from the microphone."""

    out_s: Seconds
    in_s: Seconds
    measured: bool


class Late(Struct, frozen=True, tag_field="t", tag="late"):
    """Sound number ``play`` could not start on time, so it did not."""

    run: str
    play: Whole


class Typed(Struct, frozen=True, tag_field="t", tag="typed"):
    """An answer by hand."""

    run: str
    value: Annotated[int, Meta(ge=0, le=MAX_TYPED)]


class Ordered(Struct, frozen=True, tag_field="t", tag="command"):
    """A command for the round on this device, such as ``pause``."""

    run: str
    name: str


class Pong(Struct, frozen=True, tag_field="t", tag="pong"):
    """The answer to a Ping."""

    n: Whole


class StretchTime(Struct, frozen=True, tag_field="t", tag="time"):
    """How many times longer this pupil may take for an answer (WCAG 2.2.1); 0: no limit."""

    stretch: Literal[1, 2, 5, 10, 0]


class Practise(Struct, frozen=True, tag_field="t", tag="practise"):
    """A pupil begins to practise: ``count`` sums of the ``rule`` that was asked for (empty: what
    suits the pupil), perhaps read more slowly."""

    count: Whole
    rule: Annotated[str, Meta(max_length=40)]
    slower: bool


class Do(Struct, frozen=True, tag_field="t", tag="do"):
    """The teacher's command for ``pupil``, or for everyone."""

    name: str
    pupil: str | None = None


class Correct(Struct, frozen=True, tag_field="t", tag="correct"):
    """The teacher's verdict, by ear, on answer ``number`` of the round."""

    number: Whole
    verdict: str
    value: Whole | None = None


class Reveal(Struct, frozen=True, tag_field="t", tag="reveal"):
    """Show the answer on the projector, or hide it."""

    on: bool


class Allow(Struct, frozen=True, tag_field="t", tag="allow"):
    """The teacher's answer to a pupil who asks to see earlier rounds."""

    asking: str
    yes: bool


FromDevice = Hello | Ready | Delay | Late | Typed | Ordered | Pong | StretchTime
FromTeacher = Do | Correct | Reveal | Allow
FromPage = FromDevice | FromTeacher | Practise
_from_page: msgspec.json.Decoder[FromPage] = msgspec.json.Decoder(FromPage)


def from_page(text: str) -> FromPage:
    """What a page said, every field checked. Raises ProtocolError."""
    if len(text) > MESSAGE_BYTES:
        raise ProtocolError(f"a message has at most {MESSAGE_BYTES} characters")
    try:
        return _from_page.decode(text)
    except (ValueError, RecursionError) as error:
        raise ProtocolError(f"not a message of these pages: {error}") from None
