"""Measures a model folder through the real ``vosk`` package, by set and by speaker.

``python evaluate.py --model ../number-en --humans ../../../shared/data --voices CORPUS``

Every condition starts from clips of speakers that training did not hear (``--speakers``). A clip
counts as right when the value of the last number heard equals what was said, and other speech when
no number is heard at all. Values are compared, not words: "and", "oh", "a hundred" do not matter.
"""

from __future__ import annotations

import argparse
import json
import os
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import corpus
import numpy as np
from synthesise.child import as_child
from values import value_of

RATE = 16_000


# ---- conditions


def plain(samples: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    return samples


def padded(samples: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Quiet noise of 0.2 to 0.6 s before and after, as a microphone gives it."""
    lead, tail = (rng.normal(0, 3e-4, int(rng.uniform(0.2, 0.6) * RATE)) for _ in range(2))
    return np.concatenate([lead, samples, tail]).astype(np.float32)


def telephone(samples: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """8 kHz, 300-3400 Hz, 8-bit mu-law (the band and the coding of ITU-T G.711)."""
    import soxr
    from scipy import signal

    narrow = soxr.resample(samples, RATE, 8000)
    narrow = signal.sosfilt(
        signal.butter(4, [300, 3400], "bandpass", fs=8000, output="sos"), narrow
    )
    narrow = narrow / max(1e-9, np.abs(narrow).max()) * 0.5
    law = np.sign(narrow) * np.log1p(255 * np.abs(narrow)) / np.log(256)
    law = np.round(law * 127) / 127
    narrow = np.sign(law) * (256 ** np.abs(law) - 1) / 255
    return soxr.resample(narrow, 8000, RATE).astype(np.float32)


def child_world(samples: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """The WORLD vocoder with formants up 15-35 % and pitch up 30-100 %."""
    formants, pitch = rng.uniform(1.15, 1.35), rng.uniform(1.3, 2.0)
    out = as_child(samples, formants, pitch, careful=True)
    return (out / max(1e-9, np.abs(out).max()) * 0.5).astype(np.float32)


def child_resampled(samples: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Played 15-35 % faster: formants, pitch and tempo all rise."""
    import soxr

    return soxr.resample(samples, RATE, RATE / rng.uniform(1.15, 1.35)).astype(np.float32)


class Babble:
    """Several other clips at once, 10 dB under the voice."""

    def __init__(self, paths: list[str], snr_db: float = 10.0) -> None:
        self.paths, self.snr_db = paths, snr_db

    def __call__(self, samples: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        whole = padded(samples, rng)
        noise = np.zeros(len(whole))
        for _ in range(6):
            other = corpus.read(self.paths[rng.integers(len(self.paths))])
            other = np.tile(other / max(1e-9, other.std()), 1 + len(whole) // len(other))
            start = rng.integers(len(other) - len(whole) + 1)
            noise += other[start : start + len(whole)]
        active = np.square(samples)
        power = active[active > active.max() * 1e-3].mean()
        noise *= np.sqrt(power / np.square(noise).mean() / 10 ** (self.snr_db / 10))
        mixed = whole + noise
        return (mixed / max(1.0, np.abs(mixed).max())).astype(np.float32)


# ---- decoding


_model = None


def _open(folder: str, graph: str) -> None:
    global _model
    import vosk

    vosk.SetLogLevel(-1)
    if graph == "full":
        _model = vosk.Model(folder)
        return
    with tempfile.TemporaryDirectory() as scratch:
        root = Path(scratch)
        for name in ("am", "conf"):
            (root / name).symlink_to(Path(folder).resolve() / name)
        (root / "graph").mkdir()
        source = Path(folder).resolve()
        (root / "graph" / "HCLG.fst").symlink_to(source / "graphs" / f"{graph}.fst")
        (root / "graph" / "words.txt").symlink_to(source / "graph" / "words.txt")
        (root / "graph" / "phones").symlink_to(source / "graph" / "phones")
        _model = vosk.Model(str(root))


def evened(samples: np.ndarray) -> np.ndarray:
    """What the product does first: the loudest 20 ms at -15 dBFS, a room at -60 dBFS around."""
    frame = RATE // 50
    power = np.convolve(samples**2, np.ones(frame) / frame, "same").max(initial=1e-12)
    gain_db = min(max(-15.0 - 10 * np.log10(power + 1e-12), -20.0), 30.0)
    room = np.random.default_rng(0).normal(0, 1e-3, len(samples) + 2 * RATE // 5)
    room[RATE // 5 : RATE // 5 + len(samples)] += samples * 10 ** (gain_db / 20)
    return room


def decode(samples: np.ndarray) -> tuple[list[str], float, list[tuple[str, float]]]:
    """Words, seconds of computing, and the ten best with their log scores."""
    import vosk

    recognizer = vosk.KaldiRecognizer(_model, RATE)
    recognizer.SetMaxAlternatives(10)
    samples = evened(samples)
    data = np.round(samples * 32767).clip(-32768, 32767).astype(np.int16).tobytes()
    began = time.perf_counter()
    recognizer.AcceptWaveform(data)
    result = json.loads(recognizer.FinalResult())
    spent = time.perf_counter() - began
    rows = [(a["text"], a["confidence"]) for a in result.get("alternatives", [])]
    return (rows[0][0].split() if rows else []), spent, rows


def _one(job: tuple[str, Callable[..., np.ndarray], int]) -> tuple[list[str], float, float]:
    path, condition, seed = job
    samples = condition(corpus.read(path), np.random.default_rng(seed))
    words, spent, _ = decode(samples)
    return words, spent, len(samples) / RATE


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--model", type=Path, required=True)
    parser.add_argument("--humans", type=Path)
    parser.add_argument("--voices", type=Path)
    parser.add_argument("--range", default="0-99", help="a graph of the model, or full")
    parser.add_argument("--speakers", default="", help="human speakers to measure, by commas")
    parser.add_argument("--conditions", default="", help="only these conditions, by commas")
    parser.add_argument("--most", type=int, default=600, help="clips of a row at most")
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--errors", action="store_true", help="list every miss")
    args = parser.parse_args()
    wanted = set(args.speakers.split(",")) - {""}
    humans = list(corpus.human_clips(args.humans)) if args.humans else []
    humans_in = [c for c in humans if c.speaker in wanted or c.source == "librispeech"]
    voices = [c for c in corpus.voice_clips(args.voices) if c.split == "dev"] if args.voices else []
    highest = {"full": 9999}.get(args.range) or int(args.range.rsplit("-", 1)[1])

    def fits(clip: corpus.Clip) -> bool:
        value = value_of(clip.words)
        return value is None or 0 <= value <= highest

    rng = np.random.default_rng(5)
    rows: list[tuple[str, list[corpus.Clip]]] = []
    for name, clips in (("human", humans_in), ("voices", voices)):
        for kind in ("number", "phrase", "hesitation", "other", "noise"):
            chosen = [c for c in clips if c.kind == kind and fits(c)]
            if len(chosen) > args.most:
                chosen = [chosen[i] for i in rng.choice(len(chosen), args.most, replace=False)]
            if chosen:
                rows.append((f"{name} {kind}", chosen))
    conditions: dict[str, Callable[..., np.ndarray]] = {
        "plain": plain,
        "padded": padded,
        "telephone": telephone,
        "child_world": child_world,
        "child_resampled": child_resampled,
        "babble_10dB": Babble([c.path for c in humans + voices if c.kind == "other"]),
    }
    if args.conditions:
        conditions = {k: v for k, v in conditions.items() if k in args.conditions.split(",")}
    confusions: Counter[tuple[str, str]] = Counter()
    total_spent = total_length = 0.0
    with ProcessPoolExecutor(
        args.processes, initializer=_open, initargs=(str(args.model), args.range)
    ) as pool:
        for row, clips in rows:
            for condition, change in conditions.items():
                jobs = [(c.path, change, i) for i, c in enumerate(clips)]
                right: Counter[str] = Counter()
                count: Counter[str] = Counter()
                for clip, (words, spent, length) in zip(
                    clips, pool.map(_one, jobs, chunksize=8), strict=True
                ):
                    total_spent += spent
                    total_length += length
                    ok = value_of(words) == value_of(clip.words)
                    right[clip.speaker] += ok
                    count[clip.speaker] += 1
                    if not ok:
                        confusions[(" ".join(clip.words), " ".join(words))] += 1
                        if args.errors:
                            name = Path(clip.path).name
                            print(
                                f"  miss {condition} {clip.speaker} {name} "
                                f"{' '.join(clip.words)} -> {' '.join(words)}"
                            )
                all_right, every = sum(right.values()), sum(count.values())
                percent = 100 * all_right / every
                share = f"{all_right:5}/{every:<5} {percent:6.2f} %"
                print(f"{row:18} {condition:16} {share}", flush=True)
                if row.startswith("human number") and condition == "plain":
                    for speaker in sorted(count):
                        print(
                            f"{'':18} {speaker:16} {right[speaker]:5}/{count[speaker]:<5} "
                            f"{100 * right[speaker] / count[speaker]:6.2f} %"
                        )
    print(f"real-time factor {total_spent / max(total_length, 1e-9):.4f} on one core")
    print("most frequent confusions:")
    for (said, heard), n in confusions.most_common(25):
        print(f"  {n:4} {said} -> {heard or '(nothing)'}")


if __name__ == "__main__":
    main()
