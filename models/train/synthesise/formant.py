"""Formant voices: espeak-ng, every English accent with every variant, by its command line."""

import io
import subprocess
from pathlib import Path

import numpy as np
import soundfile as sf

from synthesise import corpus, phrases

ACCENTS = (
    "en-us",
    "en-gb",
    "en-gb-scotland",
    "en-gb-x-rp",
    "en-gb-x-gbclan",
    "en-gb-x-gbcwmd",
    "en-029",
    "en-us-nyc",
)
VARIANTS = (
    "adam Alex Alicia Andrea Andy Annie antonio aunty belinda benjamin boris caleb david Denis "
    "Diogo ed edward edward2 Gene Gene2 grandma grandpa gustave Henrique Hugo iven iven2 iven3 "
    "iven4 Jacky john kaukovalta klatt klatt2 klatt3 klatt4 Lee linda m1 m2 m3 m4 m5 m6 m7 m8 "
    "f1 f2 f3 f4 f5 marcelo Marco Mario max Michael michel miguel Mike Nguyen norbert pablo "
    "paul pedro quincy rob robert sandro shelby steph steph2 steph3 travis victor zac anika"
).split()
DEV_VARIANTS = ("f5", "m4", "linda", "travis", "Hugo")


def say(text: str, voice: str, pitch: int, rate: int) -> tuple[np.ndarray, int]:
    """Samples and sample rate of one phrase."""
    wav = subprocess.run(
        ["espeak-ng", "-v", voice, "-p", str(pitch), "-s", str(rate), "--stdout", text],
        capture_output=True,
        check=True,
    ).stdout
    return sf.read(io.BytesIO(wav))


def add_all(root: Path, count: int, seed: int = 21) -> None:
    """`count` phrases, each in a random accent, variant, pitch and rate."""
    rng = np.random.default_rng(seed)
    source = corpus.Source(root, "espeak", seed)
    for phrase in phrases.plan(rng, round(count * 0.6), round(count * 0.1), round(count * 0.3)):
        variant, accent = str(rng.choice(VARIANTS)), str(rng.choice(ACCENTS))
        pitch, rate = int(rng.integers(15, 95)), int(rng.integers(95, 240))
        samples, hz = say(phrase.text, f"{accent}+{variant}", pitch, rate)
        source.add(
            samples,
            hz,
            words=phrase.words,
            speaker=f"espeak:{accent}+{variant}",
            kind=phrase.kind,
            text=phrase.text,
            split="dev" if variant in DEV_VARIANTS else "train",
        )
    source.close()
