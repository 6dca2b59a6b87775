"""Vosk as the decoder: our own model, or any other in Vosk's on-disk layout."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from pathlib import Path

from oralquiz.errors import ModelError
from oralquiz.listen.hypothesis import Hypothesis
from oralquiz.listen.language import find_language
from oralquiz.listen.level import AROUND_S, normalised
from oralquiz.listen.models import Graph, Model, loadable
from oralquiz.listen.posterior import Calibration
from oralquiz.listen.vosk_library import LoadedModel
from oralquiz.sound import Samples

ALTERNATIVES = 20
"""Hypotheses that are asked for: with strings of digits among them, ten would crowd numbers out."""
FRAME_S = 0.01
SHORT, LONG = 150, 210
"""Frames that our network computes in one go. Two goes cost nearly twice as much as one, however
little is left for the second, and one is dearer the longer it is: so an answer that does not fit
the short one and fits the long one has that. The scores are the same but for rounding."""
TWO_HANDS = (0, 99)
"""The range of a model that does not say which numbers it hears."""


class VoskDecoder:
    """Decodes with one model; what it loads is shared within the process."""

    def __init__(self, model: Model) -> None:
        """Raises ModelError for a language whose number words nobody knows."""
        self.model = model
        self.language = find_language(model.language)
        self.calibration = Calibration(**model.calibration)
        self._grammars: dict[tuple[int, int], list[str]] = {}

    @property
    def name(self) -> str:
        return f"{self.model.name} {self.model.version}".strip()

    @property
    def sample_rate(self) -> int:
        return self.model.sample_rate

    @property
    def limits(self) -> tuple[int, int]:
        lowest, highest = self.model.lowest, self.model.highest
        return TWO_HANDS if lowest is None or highest is None else (lowest, highest)

    @property
    def unknown(self) -> frozenset[str]:
        return self.model.unknown

    def load(self, lowest: int, highest: int) -> None:
        for frames in {self._frames(SHORT * FRAME_S), self._frames(LONG * FRAME_S)}:
            loaded = loaded_model(self.model, self.model.graph(lowest, highest), frames)
            self._grammar(loaded, lowest, highest)

    def decode(self, samples: Samples, lowest: int, highest: int) -> list[Hypothesis]:
        sound = normalised(samples, self.sample_rate)
        frames = self._frames(len(sound) / self.sample_rate)
        loaded = loaded_model(self.model, self.model.graph(lowest, highest), frames)
        grammar = self._grammar(loaded, lowest, highest)
        found = loaded.decode(sound, self.sample_rate, ALTERNATIVES, grammar)
        return [hypothesis.earlier(AROUND_S) for hypothesis in found]

    def _frames(self, seconds: float) -> int | None:
        """The frames computed in one go for so much sound; None: as the model says, which for
        models that are not ours is always so."""
        ours = bool(self.model.graphs)
        return LONG if ours and SHORT < round(seconds / FRAME_S) <= LONG else None

    def _grammar(self, loaded: LoadedModel, lowest: int, highest: int) -> Sequence[str] | None:
        """The phrases that limit a model that has no graph of its own; else None."""
        if not self.model.runtime_grammar:
            return None
        key = (lowest, highest)
        if key not in self._grammars:
            phrases = self.language.numbers(lowest, highest).phrases(loaded.knows)
            others = [word for word in sorted(self.model.unknown) if loaded.knows(word)]
            self._grammars[key] = [*phrases, *others]
        return self._grammars[key]


_loaded: dict[tuple[Path, Graph | None, int | None], LoadedModel] = {}
_loading = threading.Lock()


def loaded_model(model: Model, graph: Graph | None, frames: int | None = None) -> LoadedModel:
    """The model with this graph, loaded once in this process (`models.loadable` says what
    ``frames`` is). Raises ModelError."""
    key = (model.path.resolve(), graph, frames)
    with _loading:
        if key not in _loaded:
            with loadable(model, graph, frames) as folder:
                try:
                    _loaded[key] = LoadedModel(folder)
                except ModelError as error:
                    raise ModelError(f"model {model.path}: Vosk cannot load it") from error
        return _loaded[key]
