"""The whole corpus in one go: every source, in the amounts that model 0.3.0 was made with."""

from __future__ import annotations

import os
from pathlib import Path

import corpus as packing

from synthesise import child, diphone, formant, kokoro, merge, piper, prompts, splice

#: where Debian's packages put their recordings
SHARE = Path("/usr/share")
#: seed, lines for training, lines for development, shares (see ``kokoro.write_plan``), pace
PLANS = (
    (16, 16_000, 0, [0.50, 0.05, 0.20, 0.25], 1.1),
    (17, 0, 500, [0.45, 0.10, 0.25, 0.20], 1.1),
)
CHILDREN, SPLICED = 2600, 3200


def recorded(out: Path, spokennumbers: Path | None) -> None:
    """People of packages: prompts, toys, a clock, a game, pictures."""
    prompts.asterisk(out, SHARE / "asterisk/sounds/en_US_f_Allison")
    if spokennumbers:
        prompts.spokennumbers(out, spokennumbers)
    prompts.toys(out, SHARE / "ktuberling/sounds", SHARE / "klettres")
    for name, folder in (
        ("saytime", "saytime"), ("csmash", "games/csmash/wav"), ("scid", "scid/sounds"),
    ):  # fmt: skip
        prompts.counted(out, name, SHARE / folder, f"{name}:speaker")
    prompts.stamps(out, SHARE / "tuxpaint/stamps")


def neural(out: Path, folder: Path, words: Path | None, device: str) -> None:
    """Kokoro's plans spoken into the corpus; ``folder`` holds its model, config and voices/."""
    voices = folder / "voices"
    voice = kokoro.Voice(folder / "kokoro.onnx", voices, folder / "config.json", device)
    for seed, train, dev, shares, pace in PLANS:
        plan = out / f"plan{seed}.jsonl"
        kokoro.write_plan(plan, voices, seed, train, dev, shares, pace, words)
        kokoro.speak_to_corpus(out, f"kokoro{seed}", plan, voice, 1e9)


def make(
    out: Path,
    data: Path,
    model: Path,
    neural_folder: Path | None = None,
    piper_model: Path | None = None,
    spokennumbers: Path | None = None,
    words: Path | None = None,
    device: str = "",
) -> None:
    """Fills ``out`` with the sources and, in ``out/pack``, what training reads."""
    out.mkdir(parents=True, exist_ok=True)
    formant.add_all(out, 5000)
    diphone.add_all(out, 350)
    if piper_model:
        piper.add_all(out, piper_model, 500)
    recorded(out, spokennumbers)
    if neural_folder:
        neural(out, neural_folder, words, device)
    merge.merge(out)
    clips = [*packing.human_clips(data), *packing.voice_clips(out)]
    packs = out / "pack"
    packing.pack(clips, packs / "said", packing.SHARD_BYTES, 6.0)
    processes = os.cpu_count() or 1
    child.add_pack([packs / "said"], packs / "child", CHILDREN, processes)
    splice.add_pack([packs / "said"], packs / "splice", model, SPLICED, processes)
