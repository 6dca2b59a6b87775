"""What a new recogniser has to provide: sound in, hypotheses out.

Everything else (where the voice begins and ends, pauses, when an answer is complete, how sure it
is) belongs to `recognizer.AnswerRecognizer`, so one class with these members adds a recogniser.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from oralquiz.listen.hypothesis import Hypothesis
from oralquiz.listen.language import Language
from oralquiz.listen.posterior import Calibration
from oralquiz.sound import Samples


class Decoder(Protocol):
    """Decodes one piece of sound at a time. Used by several threads at once."""

    @property
    def name(self) -> str:
        """The model and its version, as the session file keeps it."""
        ...

    @property
    def sample_rate(self) -> int:
        """Hertz of the sound that it takes."""
        ...

    @property
    def language(self) -> Language: ...

    @property
    def limits(self) -> tuple[int, int]:
        """The lowest and the highest number that it can hear."""
        ...

    @property
    def unknown(self) -> frozenset[str]:
        """The words by which it writes noise, and speech that is not a number."""
        ...

    @property
    def calibration(self) -> Calibration:
        """What turns its scores into probabilities."""
        ...

    def load(self, lowest: int, highest: int) -> None:
        """Load now what hearing this range needs. Raises ModelError."""
        ...

    def decode(self, samples: Samples, lowest: int, highest: int) -> Sequence[Hypothesis]:
        """The likeliest hypotheses of ``samples`` (n,), best first, numbers or not.

        Those of a number in ``lowest`` .. ``highest`` may be preferred, never enforced.
        """
        ...
