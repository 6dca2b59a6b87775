"""One more neural voice: Piper with the packaged voice joe (see SOURCES.md)."""

import io
import wave
from pathlib import Path

import numpy as np
import soundfile as sf

from synthesise import corpus, phrases


def add_all(root: Path, model: Path, count: int, seed: int = 51) -> None:
    """`count` phrases with varied rate and expression."""
    from piper import PiperVoice, SynthesisConfig

    rng = np.random.default_rng(seed)
    voice = PiperVoice.load(str(model))
    source = corpus.Source(root, "piper", seed)
    for phrase in phrases.plan(rng, round(count * 0.65), round(count * 0.1), round(count * 0.25)):
        config = SynthesisConfig(
            length_scale=float(np.exp(rng.normal(0.0, 0.2))),
            noise_scale=float(rng.uniform(0.3, 1.0)),
            noise_w_scale=float(rng.uniform(0.3, 1.2)),
        )
        sound = io.BytesIO()
        with wave.open(sound, "wb") as out:
            voice.synthesize_wav(phrase.text, out, config)
        sound.seek(0)
        samples, rate = sf.read(sound)
        source.add(
            samples,
            rate,
            words=phrase.words,
            speaker="piper:joe",
            kind=phrase.kind,
            text=phrase.text,
        )
    source.close()
