"""Unit-selection, diphone and HTS voices of flite and festival (Debian packages)."""

import subprocess
import tempfile
from pathlib import Path

import numpy as np
import soundfile as sf

from synthesise import corpus, phrases

FLITE = ("kal16", "awb", "rms", "slt")
FESTIVAL = ("ked_diphone", "cmu_us_slt_arctic_hts")
DEV_VOICES = ("awb",)


def flite(text: str, voice: str, stretch: float, pitch: float) -> tuple[np.ndarray, int]:
    """One phrase; `stretch` > 1 is slower, `pitch` in Hz (only kal16 follows it)."""
    with tempfile.NamedTemporaryFile(suffix=".wav") as out:
        subprocess.run(
            [
                "flite",
                "-voice",
                voice,
                "--setf",
                f"duration_stretch={stretch:.2f}",
                "--setf",
                f"int_f0_target_mean={pitch:.0f}",
                "-t",
                text,
                "-o",
                out.name,
            ],
            capture_output=True,
            check=True,
        )
        return sf.read(out.name)


def festival(texts: list[str], voice: str, stretches: list[float], folder: Path) -> list[Path]:
    """Every text to a WAV of `folder` in one run of festival."""
    paths = [folder / f"{index:05d}.wav" for index in range(len(texts))]
    script = [f"(voice_{voice})"]
    for text, stretch, path in zip(texts, stretches, paths, strict=True):
        script.append(f"(Parameter.set 'Duration_Stretch {stretch:.2f})")
        script.append(f'(utt.save.wave (utt.synth (Utterance Text "{text}")) "{path}" \'riff)')
    program = folder / "say.scm"
    program.write_text("\n".join(script))
    subprocess.run(["festival", "-b", str(program)], capture_output=True, check=True)
    return paths


def add_all(root: Path, count: int, seed: int = 31) -> None:
    """`count` phrases a voice."""
    rng = np.random.default_rng(seed)
    source = corpus.Source(root, "diphone", seed)
    for voice in (*FLITE, *FESTIVAL):
        said = phrases.plan(rng, round(count * 0.65), round(count * 0.1), round(count * 0.25))
        stretches = [float(s) for s in np.exp(rng.normal(0.05, 0.2, len(said)))]
        with tempfile.TemporaryDirectory() as folder:
            if voice in FESTIVAL:
                paths = festival([p.text for p in said], voice, stretches, Path(folder))
                sounds = [sf.read(path) for path in paths]
            else:
                sounds = [
                    flite(phrase.text, voice, stretch, rng.uniform(80, 200))
                    for phrase, stretch in zip(said, stretches, strict=True)
                ]
        for phrase, (samples, rate) in zip(said, sounds, strict=True):
            source.add(
                samples,
                rate,
                words=phrase.words,
                speaker=f"diphone:{voice}",
                kind=phrase.kind,
                text=phrase.text,
                split="dev" if voice in DEV_VOICES else "train",
            )
    source.close()
