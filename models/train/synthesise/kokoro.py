"""Neural voices: Kokoro-82M with blended styles, English phonemes in many accents.

`plan` needs espeak-ng (phonemes of what is not a number) and writes one JSON line an utterance;
`speak` needs only onnxruntime and the model, so it can run on another machine, in shards.
Model and styles: Apache-2.0 (see SOURCES.md).
"""

import json
import subprocess
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
import soundfile as sf

from synthesise import corpus, phrases

RATE = 24_000  # samples a second, the model's own
# Whole styles kept for the development set, never blended into a training voice.
DEV_STYLES = ("af_nova", "am_eric", "bf_isabella", "bm_lewis", "if_sara", "hm_omega", "jf_alpha")

ROWS = (6, 75)  # of the 510 rows of a style table, those that short phrases use

# Phonemes of the number words; "|" between the ways to say one word.
AMERICAN = {
    "zero": "zˈɪɹO|zˈiɹO",
    "oh": "ˈO",
    "nought": "nˈɔt",
    "one": "wˈʌn",
    "two": "tˈu",
    "three": "θɹˈi",
    "four": "fˈɔɹ",
    "five": "fˈIv",
    "six": "sˈɪks",
    "seven": "sˈɛvən|sˈɛvᵊn",
    "eight": "ˈAt",
    "nine": "nˈIn",
    "ten": "tˈɛn",
    "eleven": "əlˈɛvən|ɪlˈɛvən",
    "twelve": "twˈɛlv",
    "thirteen": "θˌɜɹtˈin|θˈɜɹtˌin",
    "fourteen": "fˌɔɹtˈin|fˈɔɹtˌin",
    "fifteen": "fˌɪftˈin|fˈɪftˌin",
    "sixteen": "sˌɪkstˈin|sˈɪkstˌin",
    "seventeen": "sˌɛvəntˈin|sˈɛvəntˌin",
    "eighteen": "ˌAtˈin|ˈAtˌin",
    "nineteen": "nˌIntˈin|nˈIntˌin",
    "twenty": "twˈɛnti|twˈɛnti|twˈɛni",
    "thirty": "θˈɜɹTi|θˈɜɹti",
    "forty": "fˈɔɹTi|fˈɔɹti",
    "fifty": "fˈɪfti",
    "sixty": "sˈɪksti",
    "seventy": "sˈɛvənti|sˈɛvənTi",
    "eighty": "ˈATi|ˈAti",
    "ninety": "nˈInti|nˈInTi",
    "hundred": "hˈʌndɹəd|hˈʌndɹɪd|hˈʌnʤɹəd",
    "thousand": "θˈWzᵊnd|θˈWzənd",
    "and": "ænd|ənd|ən",
    "a": "ə|ɐ|ə",
    "minus": "mˈInəs|mˈInɪs",
}
BRITISH = {
    **AMERICAN,
    "zero": "zˈɪəɹQ|zˈiəɹQ",
    "oh": "ˈQ",
    "nought": "nˈɔːt",
    "two": "tˈuː",
    "three": "θɹˈiː",
    "four": "fˈɔː",
    "thirteen": "θˌɜːtˈiːn|θˈɜːtˌiːn",
    "fourteen": "fˌɔːtˈiːn|fˈɔːtˌiːn",
    "fifteen": "fˌɪftˈiːn|fˈɪftˌiːn",
    "sixteen": "sˌɪkstˈiːn|sˈɪkstˌiːn",
    "seventeen": "sˌɛvəntˈiːn|sˈɛvəntˌiːn",
    "eighteen": "ˌAtˈiːn|ˈAtˌiːn",
    "nineteen": "nˌIntˈiːn|nˈIntˌiːn",
    "twenty": "twˈɛnti",
    "thirty": "θˈɜːti",
    "forty": "fˈɔːti",
    "seventy": "sˈɛvənti",
    "eighty": "ˈAti|ˈAti|ˈAʔi",
    "ninety": "nˈInti",
}
# Foreign accents as substitutions on one of the two: "from>to", in order.
ACCENTS = {
    "indian": ("gb", "θ>tʰ t>ʈ d>ɖ ɹ>ɾ w>ʋ v>ʋ A>eː Q>oː ɜː>əɾ ᵊ>ə"),
    "spanish": ("us", "ɹ>ɾ z>s v>b ɪ>i ʌ>a æ>a ə>e ᵊ>e O>o A>ej T>ɾ h>x"),
    "german": ("gb", "θ>s w>v ɹ>ʁ ʌ>a Q>oː A>eː ᵊ>ə"),
    "french": ("us", "θ>s h> ɹ>ʁ ɪ>i ʌ>œ O>o A>e ə>œ ᵊ>œ T>t"),
    "slavic": ("us", "θ>s w>v ɹ>r ɪ>i ʌ>a h>x O>o A>ej æ>ɛ T>t ᵊ>ə"),
    "eastern": ("us", "θ>s ɪ>i ʌ>a v>w O>oː A>eː T>t ᵊ>ə"),
    "scottish": ("us", "ɹ>ɾ A>eː O>oː T>t u>ʉ ʉ>u"),
    "african": ("gb", "ɜː>ɛː ə>a ᵊ>a ɪ>i ʌ>ɔ Q>oː A>eː"),
}
# espeak-ng's IPA to the model's letters (both are published phoneme inventories).
FROM_ESPEAK = "ʲ> ɬ>l r>ɹ aɪ>I aʊ>W eɪ>A oʊ>O əʊ>Q ɔɪ>Y tʃ>ʧ dʒ>ʤ ɐ>ə ɚ>əɹ ɜːɹ>ɜɹ ɾ>T ̩> ̃> əl>ᵊl"


@dataclass(frozen=True)
class Utterance:
    """Everything `speak` needs for one clip; blends are (style, weight) pairs."""

    words: str
    kind: str
    text: str
    phonemes: str
    timbre: list[tuple[str, float]]
    prosody: list[tuple[str, float]]
    speed: float
    row: int  # of the style tables: normally about the number of phonemes
    split: str


def substituted(phonemes: str, rules: str) -> str:
    """Apply "from>to" rules in order."""
    for rule in rules.split(" "):
        old, new = rule.split(">")
        phonemes = phonemes.replace(old, new)
    return phonemes


def number_phonemes(words: str, base: str, rng: np.random.Generator) -> str:
    """Phonemes of a number phrase in American ("us") or British ("gb") English."""
    lexicon = AMERICAN if base == "us" else BRITISH
    return " ".join(str(rng.choice(lexicon[word].split("|"))) for word in words.split())


def espeak_phonemes(texts: list[str], voice: str) -> list[str]:
    """The model's phonemes of ordinary English, by espeak-ng, one text a line."""
    said = subprocess.run(
        ["espeak-ng", "-q", "--ipa", "-v", voice],
        input="\n\n".join(f"{text}." for text in texts),
        capture_output=True,
        text=True,
        check=True,
    ).stdout.splitlines()
    lines = [line.strip() for line in said if line.strip()]
    if len(lines) != len(texts):
        raise RuntimeError(f"{len(texts)} texts gave {len(lines)} lines of phonemes")
    mapped = [substituted(line, FROM_ESPEAK) for line in lines]
    return [line.replace("ː", "") for line in mapped] if voice == "en-us" else mapped


def blend(styles: list[str], rng: np.random.Generator) -> list[tuple[str, float]]:
    """One to three styles whose weights add up to 1; one in seven goes a little beyond a style."""
    count = int(rng.choice([1, 2, 3], p=[0.25, 0.45, 0.30]))
    names = [str(name) for name in rng.choice(styles, count, replace=False)]
    weights = rng.dirichlet([1.0] * count)
    if count == 2 and rng.random() < 0.33:
        beyond = rng.uniform(0.05, 0.35)
        weights = np.array([1 + beyond, -beyond])
    return [(name, round(float(w), 3)) for name, w in zip(names, weights, strict=True)]


def planned(
    said: list[phrases.Phrase],
    styles: list[str],
    split: str,
    rng: np.random.Generator,
    pace: float,
) -> list[Utterance]:
    """Give every phrase an accent, a blended voice and a speed around `pace`."""
    rest = sorted(
        {
            part
            for p in said
            for part in p.text.split(", ")
            if not set(part.split()) <= phrases.NUMBER_WORDS
        }
    )
    spoken = {
        base: dict(zip(rest, espeak_phonemes(rest, voice), strict=True))
        for base, voice in (("us", "en-us"), ("gb", "en-gb"))
    }
    made = []
    for phrase in said:
        draw = rng.random()
        accent = str(rng.choice(list(ACCENTS))) if draw > 0.68 else ""
        base, rules = ACCENTS[accent] if accent else ("us" if draw < 0.38 else "gb", "")
        parts = [
            spoken[base][part] if part in spoken[base] else number_phonemes(part, base, rng)
            for part in phrase.text.split(", ")
        ]
        joint = str(rng.choice([", ", " ", "… "]))
        phonemes = joint.join(parts) + str(rng.choice(["", ".", ".", "?", "!", ","]))
        if rules:
            phonemes = substituted(phonemes, rules)
        timbre = blend(styles, rng)
        prosody = timbre if rng.random() < 0.6 else blend(styles, rng)
        speed = float(np.clip(pace * np.exp(rng.normal(0.0, 0.22)), 0.6, 1.9))
        row = int(np.clip(len(phonemes) + rng.integers(0, 25), *ROWS))
        made.append(
            Utterance(
                phrase.words,
                phrase.kind,
                phrase.text,
                phonemes,
                timbre,
                prosody,
                round(speed, 3),
                row,
                split,
            )
        )
    return made


def write_plan(
    out: Path,
    voices: Path,
    seed: int,
    train: int,
    dev: int,
    shares: list[float],
    pace: float = 1.0,
    word_list: Path | None = None,
) -> None:
    """A plan of `train` + `dev` utterances; `shares`: numbers, hesitations, other, more of
    0..19 and the tens."""
    common = phrases.common_words(word_list, 3000) if word_list else None
    styles = sorted(path.stem for path in voices.glob("*.bin"))
    rng = np.random.default_rng(seed)
    lines: list[Utterance] = []
    for split, count, names in (
        ("train", train, [s for s in styles if s not in DEV_STYLES]),
        ("dev", dev, list(DEV_STYLES)),
    ):
        said = phrases.plan(rng, *(round(count * share) for share in shares), common=common)
        lines += planned(said, names, split, rng, pace)
    order = rng.permutation(len(lines))
    with out.open("w") as file:
        for index in order:
            file.write(json.dumps(asdict(lines[index]), ensure_ascii=False) + "\n")


def onnx_runner(model: Path) -> Callable[[dict[str, np.ndarray]], np.ndarray]:
    """The model by ONNX Runtime."""
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    session = onnxruntime.InferenceSession(str(model), options, providers=["CPUExecutionProvider"])
    return lambda feeds: np.asarray(session.run(None, feeds)[0])


def torch_runner(model: Path, device: str) -> Callable[[dict[str, np.ndarray]], np.ndarray]:
    """The model by PyTorch on `device`."""
    import torch

    from synthesise import onnx_torch

    torch.set_num_threads(1)
    graph = onnx_torch.Graph(model, device)
    return lambda feeds: (
        graph.run({name: torch.from_numpy(value) for name, value in feeds.items()}).cpu().numpy()
    )


class Voice:
    """The model with its style vectors; one thread. Without a device, ONNX Runtime runs it;
    with one ("cuda:0"), PyTorch does."""

    def __init__(self, model: Path, voices: Path, vocabulary: Path, device: str = "") -> None:
        self.run = torch_runner(model, device) if device else onnx_runner(model)
        table = json.loads(vocabulary.read_text())
        self.ids: dict[str, int] = table.get("vocab", table)
        self.styles = {
            path.stem: np.fromfile(path, np.float32).reshape(-1, 256)
            for path in voices.glob("*.bin")
        }

    def style(self, utterance: dict) -> np.ndarray:
        """The blended style vector (1, 256): timbre in the first half, prosody in the second."""

        def mixed(pairs: list) -> np.ndarray:
            return sum(w * self.styles[name][utterance["row"]] for name, w in pairs)

        return np.concatenate(
            [mixed(utterance["timbre"])[:128], mixed(utterance["prosody"])[128:]]
        ).astype(np.float32)[None]

    def speak(self, utterance: dict) -> np.ndarray:
        """Samples at 24 kHz."""
        tokens = [self.ids[c] for c in utterance["phonemes"] if c in self.ids]
        feeds = {
            "tokens": np.array([[0, *tokens, 0]], np.int64),
            "style": self.style(utterance),
            "speed": np.array([utterance["speed"]], np.float32),
        }
        return self.run(feeds).ravel()


def speak_shard(
    plan: Path, voice: Voice, shard: int, shards: int, seconds: float
) -> Iterator[tuple[dict, np.ndarray]]:
    """Yield (utterance, samples) of every `shards`-th line of the plan, until time is up."""
    stop = time.monotonic() + seconds
    lines = plan.read_text().splitlines()
    for index in range(shard, len(lines), shards):
        if time.monotonic() > stop:
            return
        utterance = json.loads(lines[index])
        yield utterance, voice.speak(utterance)


def speaker(utterance: dict) -> str:
    """A name of the voice: its styles and weights."""

    def named(pairs: list) -> str:
        return "+".join(f"{name}*{weight}" for name, weight in pairs)

    timbre, prosody = named(utterance["timbre"]), named(utterance["prosody"])
    return timbre if timbre == prosody else f"{timbre}/{prosody}"


def add(source: corpus.Source, utterance: dict, samples: np.ndarray, rate: int = RATE) -> None:
    """Put one spoken utterance into the corpus."""
    source.add(
        samples,
        rate,
        words=utterance["words"],
        speaker=speaker(utterance),
        kind=utterance["kind"],
        text=utterance["text"],
        split=utterance["split"],
    )


def speak_to_corpus(root: Path, name: str, plan: Path, voice: Voice, seconds: float) -> None:
    """Speak the plan in this process; the manifest grows every 200 clips."""
    source = corpus.Source(root, name)
    for count, (utterance, samples) in enumerate(speak_shard(plan, voice, 0, 1, seconds), 1):
        add(source, utterance, samples)
        if count % 200 == 0:
            source.close()
    source.close()


def speak_to_shard(
    out: Path, plan: Path, voice: Voice, shard: int, shards: int, seconds: float
) -> None:
    """Speak one shard into OUT.ogg (one Opus stream) and OUT.json (plan line and samples each)."""
    index = []
    with sf.SoundFile(
        out.with_suffix(".ogg"), "w", corpus.RATE, 1, format="OGG", subtype="OPUS"
    ) as stream:
        for utterance, samples in speak_shard(plan, voice, shard, shards, seconds):
            clip = corpus.mono_16k(samples, RATE)
            start, end = corpus.voiced_span(clip)
            clip = clip[max(start - 4000, 0) : end + 4000]
            stream.write(clip * (0.7 / max(float(np.abs(clip).max()), 1e-3)))
            index.append((utterance, int(clip.size)))
    out.with_suffix(".json").write_text(json.dumps(index))


def speak_to_pack(
    out: Path, plan: Path, voice: Voice, shard: int, shards: int, seconds: float
) -> None:
    """Speak one shard straight into a pack for training, OUT/NNN."""
    import corpus as packing

    def clips() -> Iterator[tuple[packing.Clip, bytes]]:
        for utterance, samples in speak_shard(plan, voice, shard, shards, seconds):
            words = tuple(utterance["words"].split()) or ("[unk]",)
            kind = "phrase" if utterance["kind"] == "hesitation" else utterance["kind"]
            clip = packing.Clip(
                "", words, speaker(utterance), "kokoro", kind, utterance["split"],
                utterance["text"],
            )  # fmt: skip
            yield clip, packing.encoded(corpus.mono_16k(samples, RATE))

    packing.write_pack(out / f"{shard:03d}", clips())


def unpack_shards(root: Path, name: str, folder: Path) -> None:
    """Bring every shard of `folder` (OGG with JSON) into the corpus."""
    source = corpus.Source(root, name)
    for path in sorted(folder.glob("*.ogg")):
        samples, rate = sf.read(path)
        offset = 0
        for utterance, size in json.loads(path.with_suffix(".json").read_text()):
            add(source, utterance, samples[offset : offset + size], rate)
            offset += size
    source.close()
