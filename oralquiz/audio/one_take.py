"""One word, or one number, recorded until it is over."""

from __future__ import annotations

from typing import Protocol

import numpy as np

from oralquiz.listen import VoiceDetector
from oralquiz.rounds import AudioIn, Clock
from oralquiz.sound import SESSION_RATE, Samples


class Microphone(AudioIn, Clock, Protocol):
    """The part of a sound card that is needed here."""


def record_one_word(source: Microphone, longest_s: float = 4.0, quiet_s: float = 0.6) -> Samples:
    """What is said from now on (n,), with the quiet around it.

    It ends ``quiet_s`` after the voice, or after ``longest_s`` at the latest. Raises AudioError as
    the source does.
    """
    begin = source.now()  # what lies in the queue was heard before the prompt was read
    detector = VoiceDetector(SESSION_RATE)
    heard: list[Samples] = []
    while detector.position < longest_s * SESSION_RATE:
        block = source.read()
        if block is None:
            break
        if block.start < begin:
            continue
        heard.append(block.samples)
        detector.feed(block.samples)
        since = detector.quiet_since
        if since is not None and detector.position - since >= quiet_s * SESSION_RATE:
            break
    return np.concatenate(heard) if heard else np.zeros(0, np.float32)
