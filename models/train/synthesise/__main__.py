"""python -m synthesise SOURCE --out CORPUS ... (run in models/train); see SOURCES.md."""

import argparse
import os
from pathlib import Path

from synthesise import (
    child,
    diphone,
    everything,
    formant,
    human,
    kokoro,
    merge,
    piper,
    prompts,
    splice,
)


def main() -> None:
    """One sub-command for each source of voices."""
    parser = argparse.ArgumentParser(prog="synthesise", description=__doc__)
    commands = parser.add_subparsers(dest="command", required=True)

    every = commands.add_parser("all", help="the whole corpus, and the packs for training")
    every.add_argument("--out", type=Path, required=True, help="corpus folder")
    every.add_argument("--data", type=Path, required=True, help="recordings of people")
    every.add_argument("--model", type=Path, default=Path("../number-en"), help="finds stems")
    every.add_argument("--neural", type=Path, help="kokoro.onnx, config.json and voices/")
    every.add_argument("--piper", type=Path, help="the voice's .onnx")
    every.add_argument("--spokennumbers", type=Path, help="the package's folder default/")
    every.add_argument("--words", type=Path, help="JSON word list for other speech")
    every.add_argument("--device", default="", help="a PyTorch device for the neural voices")

    plan = commands.add_parser("kokoro-plan", help="what Kokoro shall say, a JSON line each")
    plan.add_argument("--plan", type=Path, required=True)
    plan.add_argument("--voices", type=Path, required=True, help="folder of style files, *.bin")
    plan.add_argument("--seed", type=int, default=11)
    plan.add_argument("--train", type=int, default=8000)
    plan.add_argument("--dev", type=int, default=400)
    plan.add_argument(
        "--shares",
        type=float,
        nargs=4,
        default=[0.64, 0.07, 0.14, 0.15],
        metavar=("NUMBERS", "HESITATIONS", "OTHER", "SHORT"),
    )
    plan.add_argument("--pace", type=float, default=1.0, help="speed, 1 is the voices' own")
    plan.add_argument("--words", type=Path, help="JSON word list for other speech")

    speak = commands.add_parser("kokoro-speak", help="say a plan: into the corpus, or one shard")
    speak.add_argument("--plan", type=Path, required=True)
    speak.add_argument("--voices", type=Path, required=True)
    speak.add_argument("--model", type=Path, required=True, help="kokoro .onnx")
    speak.add_argument("--vocabulary", type=Path, required=True, help="JSON of phoneme ids")
    speak.add_argument("--device", default="", help="a PyTorch device, such as cuda:0")
    speak.add_argument("--seconds", type=float, default=1e9, help="stop after that long")
    speak.add_argument("--out", type=Path, help="corpus folder")
    speak.add_argument("--name", default="kokoro")
    speak.add_argument("--to", type=Path, help="write TO.ogg and TO.json instead")
    speak.add_argument("--pack", type=Path, help="add to a pack for training instead")
    speak.add_argument("--shard", type=int, default=0)
    speak.add_argument("--shards", type=int, default=1)

    unpack = commands.add_parser("kokoro-unpack", help="bring shards into the corpus")
    unpack.add_argument("--shards", type=Path, required=True, help="folder of them")
    unpack.add_argument("--out", type=Path, required=True)
    unpack.add_argument("--name", default="kokoro")

    for name, what in (
        ("child", "--count clips of packs as children: a pack"),
        ("splice", "--count teens and tens of people's digits and others' endings: a pack"),
    ):
        packed = commands.add_parser(name, help=what)
        packed.add_argument("--pack", type=Path, nargs="+", required=True)
        packed.add_argument("--out", type=Path, required=True, help="the new pack")
        packed.add_argument("--count", type=int, required=True)
        packed.add_argument("--processes", type=int, default=os.cpu_count() or 1)
        if name == "splice":
            packed.add_argument("--model", type=Path, default=Path("../number-en"))

    for name, what in (
        ("human", "recordings of people in --data"),
        ("formant", "--count phrases by espeak-ng"),
        ("diphone", "--count phrases a voice by flite and festival"),
        ("merge", "one manifest.tsv over all sources"),
    ):
        command = commands.add_parser(name, help=what)
        command.add_argument("--out", type=Path, required=True, help="corpus folder")
        if name == "human":
            command.add_argument("--data", type=Path, required=True)
        if name not in ("human", "merge"):
            command.add_argument("--count", type=int, required=True)

    prompt = commands.add_parser("prompts", help="telephone and toy recordings, from packages")
    prompt.add_argument("--out", type=Path, required=True, help="corpus folder")
    prompt.add_argument("--asterisk", type=Path, help="folder with digits/, letters/ in G.722")
    prompt.add_argument("--spokennumbers", type=Path, help="the package's folder default/")
    prompt.add_argument("--ktuberling", type=Path, help="its folder sounds/")
    prompt.add_argument("--klettres", type=Path, help="its data folder")
    prompt.add_argument("--saytime", type=Path, help="its folder of .au files")
    prompt.add_argument("--csmash", type=Path, help="its folder wav/")
    prompt.add_argument("--scid", type=Path, help="its folder sounds/")
    prompt.add_argument("--stamps", type=Path, help="Tux Paint's folder stamps/")

    joe = commands.add_parser("piper", help="--count phrases by Piper")
    joe.add_argument("--out", type=Path, required=True, help="corpus folder")
    joe.add_argument("--model", type=Path, required=True, help="the voice's .onnx")
    joe.add_argument("--count", type=int, required=True)

    given = parser.parse_args()
    if given.command == "all":
        everything.make(
            given.out, given.data, given.model, given.neural, given.piper, given.spokennumbers,
            given.words, given.device,
        )  # fmt: skip
    elif given.command == "kokoro-plan":
        kokoro.write_plan(
            given.plan,
            given.voices,
            given.seed,
            given.train,
            given.dev,
            given.shares,
            given.pace,
            given.words,
        )
    elif given.command == "kokoro-speak":
        voice = kokoro.Voice(given.model, given.voices, given.vocabulary, given.device)
        if given.pack:
            kokoro.speak_to_pack(
                given.pack, given.plan, voice, given.shard, given.shards, given.seconds
            )
        elif given.to:
            kokoro.speak_to_shard(
                given.to, given.plan, voice, given.shard, given.shards, given.seconds
            )
        else:
            kokoro.speak_to_corpus(given.out, given.name, given.plan, voice, given.seconds)
    elif given.command == "kokoro-unpack":
        kokoro.unpack_shards(given.out, given.name, given.shards)
    elif given.command == "human":
        human.add_all(given.out, given.data)
    elif given.command == "child":
        child.add_pack(given.pack, given.out, given.count, given.processes)
    elif given.command == "splice":
        splice.add_pack(given.pack, given.out, given.model, given.count, given.processes)
    elif given.command == "formant":
        formant.add_all(given.out, given.count)
    elif given.command == "diphone":
        diphone.add_all(given.out, given.count)
    elif given.command == "piper":
        piper.add_all(given.out, given.model, given.count)
    elif given.command == "prompts":
        if given.asterisk:
            prompts.asterisk(given.out, given.asterisk)
        if given.spokennumbers:
            prompts.spokennumbers(given.out, given.spokennumbers)
        if given.ktuberling and given.klettres:
            prompts.toys(given.out, given.ktuberling, given.klettres)
        for name in ("saytime", "csmash", "scid"):
            if folder := getattr(given, name):
                prompts.counted(given.out, name, folder, f"{name}:speaker")
        if given.stamps:
            prompts.stamps(given.out, given.stamps)
    elif given.command == "merge":
        merge.merge(given.out)


if __name__ == "__main__":
    main()
