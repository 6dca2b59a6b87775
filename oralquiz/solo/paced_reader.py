"""Reads each sum at the pace that suits the pupil at that moment."""

from __future__ import annotations

from collections.abc import Callable

from oralquiz.errors import BadInput
from oralquiz.rounds import Options, Round, Turn
from oralquiz.session import RoundReader
from oralquiz.sound import Clip
from oralquiz.speak import Dictation

STEP_S = 0.05
"""Paces are rounded to a multiple of this, so that a round needs few readers."""
KEPT = 3
"""How many readers are kept, each with its voice."""
SLOWEST_S = 6.0


class PacedReader:
    """``reader`` makes a reader for a pace in seconds, ``pace`` gives the pace of the next sum.

    A sum with a term that takes longer is read at the quickest pace that is possible.
    """

    def __init__(self, reader: Callable[[float], RoundReader], pace: Callable[[], float]) -> None:
        self._open = reader
        self._pace = pace
        self._readers: dict[float, RoundReader] = {}

    @property
    def voice_name(self) -> str:
        return self._reader(self._rounded()).voice_name

    def prepare(self, round_: Round, options: Options) -> None:
        """Render every sum at the present pace, so that later ones only change their pace."""
        for turn in round_.turns:
            self.dictation(turn)
        self.phrase(options.ask_again_text)

    def dictation(self, turn: Turn) -> Dictation:
        """``turn`` at the present pace. Raises as the voice does."""
        pace_s = self._rounded()
        while True:
            try:
                return self._reader(pace_s).dictation(turn)
            except BadInput:
                if pace_s >= SLOWEST_S:
                    raise
                pace_s = self._rounded(min(1.1 * pace_s + STEP_S, SLOWEST_S))

    def phrase(self, text: str) -> Clip:
        return self._reader(self._rounded()).phrase(text)

    def _rounded(self, pace_s: float | None = None) -> float:
        return round(round((pace_s or self._pace()) / STEP_S) * STEP_S, 2)

    def _reader(self, pace_s: float) -> RoundReader:
        if pace_s not in self._readers:
            kept = list(self._readers.items())[1 - KEPT :]
            self._readers = {**dict(kept), pace_s: self._open(pace_s)}
        return self._readers[pace_s]
