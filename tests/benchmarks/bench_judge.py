"""Is the judge fair? People's recordings through the real recogniser, judged by both policies.

The speakers are two of fsdd, who say digits, and numbers_woman, who says 0 to 20 and the tens. The
model that we ship was trained on them too, so its figures flatter: for honest ones give --model a
model trained like it but without them (models/train, train.py --hold-out
fsdd-george,fsdd-theo,numbers_woman). Every clip is heard in a quiet room of its own, block by
block, as a session hears it.

* Right answers: the clip says the answer of the sum.
* Wrong answers: the clip says what a simulated pupil who slips (oralquiz.judge.simulated) would
  say; the answer is that of the pupil's sum. So the two numbers are as close as in real slips. Most
  clips say one digit, so a third of these are part of the answer (3 of 53), which is always asked
  about once; of all slips it is one in ten. A second row leaves them out.
* No number: other words of numbers_woman, and sentences of librispeech without number words.

* Ways of answering, put together from those clips: another word before the number, a number taken
  back ("seven ... not ... nine"), two digits one by one, "minus" before the number, and another
  person saying another number at the same time, 12 dB weaker. These are heard once.

What is unclear is asked for once more: the same speaker says the same number in another clip, where
there is one, and both attempts are weighed together. "waits" is what then still waits for the
teacher's ear. All rates are of the first hearing unless a column says otherwise; in brackets is the
upper end of a 95 % interval (Clopper and Pearson).

Being asked again must tell nothing about right or wrong: the lines "asked again" give both rates,
every clip being the right answer to some sums and a wrong one to others. At the end, without any
sound: of pupils who are heard perfectly.

Run: python -m tests.benchmarks.bench_judge [FOLDER OF RECORDINGS] [--every N] [--plot FILE.png]
"""

from __future__ import annotations

import argparse
import re
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path
from random import Random

import numpy as np
from scipy import stats

from oralquiz.beads import Sum
from oralquiz.judge.asking_alike import wrong_answers
from oralquiz.judge.confusable import overlapping
from oralquiz.judge.simulated import SimulatedPupil
from oralquiz.judge.verdict import NOTHING_KNOWN, POLICIES, Next, Policy, Verdict, decide, judge
from oralquiz.listen.hearing import Hearing, Recognizer
from oralquiz.listen.recognizer import open_recognizer
from oralquiz.rounds.round import Options
from oralquiz.sound.clip import Samples
from oralquiz.sound.sound_files import read_recording
from tests.judge.model import random_sum
from tests.learn.pupils import Family, OtherFamily, OwnFamily

RATE = 16_000
BLOCK = 320
HELD_OUT = ("george", "theo")
WRONG_PER_CLIP = 5
SUMS_A_CLIP = 20


@dataclass(frozen=True)
class Clip:
    path: Path
    speaker: str
    value: int | None  # None: no number is said


@dataclass
class Heard:
    clip: Clip
    hearing: Hearing
    instead: Hearing | None  # what replaced it when it was taken back
    again: Hearing | None  # from another clip: the same number by the same speaker

    def for_answer(self, answer: int, policy: Policy, numbers: int) -> Hearing:
        """The hearing that counts: a wrong number may be taken back."""
        wrong = judge(self.hearing, answer, policy, numbers) is Verdict.WRONG
        return self.instead if wrong and self.instead is not None else self.hearing


def clips(folder: Path) -> Iterator[Clip]:
    for path in sorted((folder / "fsdd").glob("*.wav")):
        digit, speaker, _ = path.stem.split("_")
        if speaker in HELD_OUT:
            yield Clip(path, speaker, int(digit))
    for path in sorted((folder / "numbers_woman").glob("*.flac")):
        yield Clip(path, "numbers_woman", int(path.stem))
    for path in sorted((folder / "numbers_woman" / "other").glob("[!o]*.flac")):  # o is a zero
        yield Clip(path, "numbers_woman", None)
    numbers = re.compile(
        r"(?i)\b(one|two|three|four|five|six|seven|eight|nine|ten|eleven|twelve|\w+teen|twenty|"
        r"thirty|forty|fifty|sixty|seventy|eighty|ninety|hundred|thousand|oh|o|to|too|for|won|ate)\b"
    )
    for transcript in sorted((folder / "librispeech").glob("*.txt")):
        for line in transcript.read_text(encoding="utf-8").splitlines():
            name, _, words = line.partition(" ")
            path = folder / "librispeech" / f"{name}.flac"
            if path.exists() and not numbers.search(words):
                yield Clip(path, "librispeech", None)


Disturb = Callable[[Samples, Random], Samples]


def rng_of(random: Random) -> np.random.Generator:
    return np.random.default_rng(random.getrandbits(32))


def in_a_room(samples: Samples, random: Random) -> Samples:
    """Half a second of quiet hiss, 60 dB below the clip's peak, on either side and throughout."""
    peak = float(np.abs(samples).max())
    quiet = np.concatenate([np.zeros(RATE // 2), samples, np.zeros(RATE)])
    hiss = rng_of(random).standard_normal(len(quiet)) * peak * 10 ** (-60 / 20)
    return (quiet + hiss).astype(np.float32)


def noise(snr_db: float) -> Disturb:
    """White noise throughout, ``snr_db`` below the loudness of the voice."""

    def disturb(samples: Samples, random: Random) -> Samples:
        room = in_a_room(samples, random)
        level = float(np.sqrt(np.mean(samples**2))) * 10 ** (-snr_db / 20)
        return (room + rng_of(random).standard_normal(len(room)) * level).astype(np.float32)

    return disturb


def cough(samples: Samples, random: Random) -> Samples:
    """A burst of low noise, as loud as the voice, dying out within 0.2 s, 0.4 s before it."""
    burst = np.cumsum(rng_of(random).standard_normal(RATE // 5))
    burst -= np.linspace(burst[0], burst[-1], len(burst))
    burst *= np.exp(-np.arange(len(burst)) / (RATE * 0.05))
    burst *= float(np.abs(samples).max()) / float(np.abs(burst).max())
    room = in_a_room(np.concatenate([np.zeros(RATE * 3 // 5), samples]), random)
    room[RATE // 2 : RATE // 2 + len(burst)] += burst
    return room.astype(np.float32)


CONDITIONS: dict[str, Disturb] = {
    "quiet room": in_a_room,
    "noise, 20 dB": noise(20),
    "noise, 10 dB": noise(10),
    "a cough before": cough,
}


def hear(
    recognizer: Recognizer, samples: Samples, highest: int, lowest: int = 0
) -> tuple[Hearing, Hearing | None]:
    """As a session does: block by block until the answer is complete. Then what it becomes if it is
    wrong and listening goes on in case it is taken back."""
    listener = recognizer.listen(lowest, highest)
    first: Hearing | None = None
    last_s: float | None = None
    until = len(samples)
    for at in range(0, len(samples), BLOCK):
        hearing = listener.feed(samples[at : at + BLOCK])
        if at + BLOCK >= until and not listener.speaking:
            hearing = listener.finish()
            if hearing.offset_s == last_s:
                break
        if hearing is not None and hearing.offset_s is not None:
            first, last_s = first or hearing, hearing.offset_s
            until = round(RATE * (last_s + Options().take_back_s))
    last = listener.finish()
    first = first or last
    return first, last if last.offset_s != first.offset_s else None


def hear_all(
    recognizer: Recognizer, said: Sequence[Clip], disturb: Disturb, highest: int, seed: int
) -> list[Heard]:
    random = Random(seed)
    hearings = [
        hear(recognizer, disturb(read_recording(clip.path, RATE), random), highest) for clip in said
    ]
    same = defaultdict(list)
    for index, clip in enumerate(said):
        same[clip.speaker, clip.value].append(index)
    found = []
    for index, clip in enumerate(said):
        others = same[clip.speaker, clip.value] if clip.value is not None else [index]
        follower = others[(others.index(index) + 1) % len(others)]
        again = hearings[follower][0] if follower != index else None
        found.append(Heard(clip, *hearings[index], again))
    return found


CARRIERS = ("a", "is", "it", "like", "look", "my", "the", "yeah", "yes")
"""Words of numbers_woman that children say before they answer."""

Spoken = tuple[Clip, Samples]


def trimmed(clip: Clip) -> Samples:
    """The voice in a clip, to 30 dB below its loudest 20 ms, and 20 ms around it."""
    samples = read_recording(clip.path, RATE)
    level = np.sqrt(np.convolve(samples**2, np.ones(BLOCK) / BLOCK, "same"))
    loud = np.flatnonzero(level > level.max() * 10 ** (-30 / 20))
    return samples[max(0, loud[0] - BLOCK) : loud[-1] + BLOCK]


def joined(*parts: Samples, gap_s: float, random: Random) -> Samples:
    """One after another with about ``gap_s`` between them, each as loud as the first."""
    found = [parts[0]]
    for part in parts[1:]:
        found.append(np.zeros(round(RATE * gap_s * random.uniform(0.5, 1.5)), np.float32))
        found.append(part * float(np.abs(parts[0]).max() / np.abs(part).max()))
    return np.concatenate(found)


def ways_of_answering(
    folder: Path, said: Sequence[Clip], random: Random
) -> dict[str, tuple[int, list[Spoken]]]:
    """For each way the lowest number of the range, and what is said."""
    woman = [clip for clip in said if clip.speaker == "numbers_woman"]
    word = {
        path.stem: trimmed(Clip(path, "numbers_woman", None))
        for path in (folder / "numbers_woman" / "other").glob("*.flac")
        if path.stem in (*CARRIERS, "not", "minus")
    }
    digits = [clip for clip in said if clip.speaker in HELD_OUT and clip.value is not None]
    voice = {clip.path: trimmed(clip) for clip in said}
    before, back, apart, minus, over = [], [], [], [], []
    for clip in woman:
        for carrier in random.sample(CARRIERS, 4):
            sound = joined(word[carrier], voice[clip.path], gap_s=0.2, random=random)
            before.append((clip, sound))
        others = [other for other in woman if other != clip]
        for first in random.sample(others, min(4, len(others))):
            parts = voice[first.path], word["not"], voice[clip.path]
            back.append((clip, joined(*parts, gap_s=0.25, random=random)))
        if clip.value:
            sound = joined(word["minus"], voice[clip.path], gap_s=0.1, random=random)
            minus.append((replace(clip, value=-clip.value), sound))
    for _ in range(300):
        tens, ones = random.choice([c for c in digits if c.value]), random.choice(digits)
        while ones.speaker != tens.speaker:
            ones = random.choice(digits)
        assert tens.value is not None and ones.value is not None
        both = replace(tens, value=10 * tens.value + ones.value)
        sound = joined(voice[tens.path], voice[ones.path], gap_s=0.08, random=random)
        apart.append((both, sound))
    for clip in random.sample(list(said), min(300, len(said))):
        others = [c for c in said if c.speaker != clip.speaker and c.value != clip.value]
        near, far = voice[clip.path], voice[random.choice(others).path]
        mixed = np.zeros(max(len(near), len(far)), np.float32)
        mixed[: len(near)] = near
        mixed[: len(far)] += far * float(np.abs(near).max() / np.abs(far).max()) * 10 ** (-12 / 20)
        over.append((clip, mixed))
    return {
        "a word before": (0, before),
        "a number taken back": (0, back),
        "two digits one by one": (0, apart),
        "minus before": (-99, minus),
        "another voice, -12 dB": (0, over),
    }


@dataclass(frozen=True)
class Asked:
    """What simulated pupils were asked on a frame: for each answer its sums, and for each number
    that was said wrongly the right answers it was said instead of."""

    columns: int
    sums: dict[int, list[Sum]]
    instead: dict[int, list[int]]

    def slips(self, answer: int, at: int) -> Mapping[int, float]:
        """What pupils who slip say to a sum with this answer; none where no sum has it."""
        sums = self.sums.get(answer)
        return wrong_answers(sums[at % len(sums)], self.columns) if sums else {}


def asked_on(columns: int, random: Random, plays: int = 30_000) -> Asked:
    pupil = SimulatedPupil(columns)
    sums: dict[int, list[Sum]] = defaultdict(list)
    instead: dict[int, list[int]] = defaultdict(list)
    for _ in range(plays):
        terms = random_sum(random, 4, columns)
        said = pupil.play(terms, random).said
        sums[terms.answer].append(terms)
        if said != terms.answer:
            instead[said].append(terms.answer)
    return Asked(columns, sums, instead)


def asked_again(
    heard: Sequence[Heard], wrong: Sequence[tuple[Heard, int]], policy: Policy, asked: Asked
) -> tuple[float, float]:
    """The share of right answers that are asked about, and of wrong ones."""
    numbers = int(10**asked.columns)
    rights = [
        decide([one.hearing], value, policy, numbers=numbers, slips=asked.slips(value, at)).asks
        for one in heard
        if (value := one.clip.value) is not None
        for at in range(SUMS_A_CLIP)
    ]
    wrongs = [
        decide([one.for_answer(answer, policy, numbers)], answer, policy, numbers=numbers).asks
        for one, answer in wrong
    ]
    return float(np.mean(rights)), float(np.mean(wrongs))


def without_sound() -> None:
    """How often perfectly heard answers are asked about, by pupils of two families."""
    families: dict[str, Family] = {
        "as judge models them": OwnFamily(),
        "not as judge does": OtherFamily(0.03),
    }
    for name, pupil in families.items():
        random = Random(7)
        right, wrong = [], []
        for _ in range(10_000):
            terms = random_sum(random, 4, 2)
            said = pupil.play(terms, random)
            if said == terms.answer:
                slips = wrong_answers(terms, 2)
                right.append(sum(slips[value] for value in slips if overlapping(value, said)))
            elif said <= 99:
                wrong.append(overlapping(said, terms.answer))
        print(
            f"no sound, 0 to 99, slips {name}: asked again: right {np.mean(right):.1%} "
            f"({len(right)}), wrong {np.mean(wrong):.1%} ({len(wrong)})"
        )


@dataclass
class Marks:
    """Counts of how a policy marked answers of one kind."""

    verdicts: dict[Verdict, int] = field(default_factory=lambda: dict.fromkeys(Verdict, 0))
    final: dict[Verdict, int] = field(default_factory=lambda: dict.fromkeys(Verdict, 0))
    waits: int = 0
    count: int = 0

    def add(
        self,
        heard: Heard,
        answer: int,
        policy: Policy,
        numbers: int,
        slips: Mapping[int, float] = NOTHING_KNOWN,
    ) -> None:
        self.count += 1
        hearing = heard.for_answer(answer, policy, numbers)
        decision = decide([hearing], answer, policy, numbers=numbers, slips=slips)
        self.verdicts[decision.verdict] += 1
        if decision.asks and heard.again is not None:
            both = [hearing, heard.again]
            decision = decide(both, answer, policy, numbers=numbers, slips=slips)
        self.final[decision.verdict] += 1
        self.waits += decision.next is not Next.GO_ON


def marked(
    heard: Sequence[Heard],
    wrong: Sequence[tuple[Heard, int]],
    policy: Policy,
    numbers: int,
    asked: Asked | None = None,
) -> tuple[Marks, Marks]:
    """How a policy marks the right answers and the wrong ones. Right ones are asked about at random
    where it is known what was ``asked``."""
    of_right, of_wrong = Marks(), Marks()
    for one in heard:
        if one.clip.value is not None:
            slips = asked.slips(one.clip.value, of_right.count) if asked else NOTHING_KNOWN
            of_right.add(one, one.clip.value, policy, numbers, slips)
    for one, answer in wrong:
        of_wrong.add(one, answer, policy, numbers)
    return of_right, of_wrong


def share(hits: int, of: int) -> str:
    if of == 0:
        return "      -      "
    high = stats.binomtest(hits, of).proportion_ci(0.95).high
    return f"{hits / of:6.2%} ({high:5.2%})"


def answers_for(
    heard: Sequence[Heard], wrong_for: dict[int, list[int]], random: Random
) -> list[tuple[Heard, int]]:
    """Each clip as a wrong answer, several times, for the sums of pupils who made that slip."""
    return [
        (one, random.choice(wrong_for[one.clip.value]))
        for one in heard
        if one.clip.value is not None and wrong_for.get(one.clip.value)
        for _ in range(WRONG_PER_CLIP)
    ]


def _overlaps(heard: Heard, answer: int) -> bool:
    return heard.clip.value is not None and overlapping(heard.clip.value, answer)


def report(
    name: str,
    heard: Sequence[Heard],
    wrong: Sequence[tuple[Heard, int]],
    numbers: int = 100,
    asked: Asked | None = None,
) -> None:
    for policy in POLICIES.values():
        right_marks, wrong_marks = marked(heard, wrong, policy, numbers, asked)
        unsure = Verdict.UNCLEAR
        both = right_marks.count + wrong_marks.count
        silent = right_marks.verdicts[Verdict.SILENT] + wrong_marks.verdicts[Verdict.SILENT]
        print(
            f"{name:32} {policy.name:8} {right_marks.count:5} "
            f"{share(right_marks.verdicts[Verdict.WRONG], right_marks.count)} "
            f"{share(right_marks.final[Verdict.WRONG], right_marks.count)} "
            f"{share(wrong_marks.verdicts[Verdict.RIGHT], wrong_marks.count)} "
            f"{share(wrong_marks.final[Verdict.RIGHT], wrong_marks.count)} "
            f"{right_marks.verdicts[unsure] / max(1, right_marks.count):7.2%} "
            f"{wrong_marks.verdicts[unsure] / max(1, wrong_marks.count):7.2%} "
            f"{(right_marks.waits + wrong_marks.waits) / max(1, both):7.2%} "
            f"{silent / max(1, both):7.2%}"
        )
        if asked is not None:
            rates = asked_again(heard, wrong, policy, asked)
            print(
                f"{'  asked again: right, wrong':32} {policy.name:8} {rates[0]:.1%}, {rates[1]:.1%}"
            )


def calibration(heard: Sequence[Heard]) -> None:
    """Of the answers to which the recogniser gave a certain probability, how many said that
    number."""
    print("\nprobability of the best candidate, and how often it was said")
    edges = [0, 0.5, 0.8, 0.9, 0.95, 0.98, 0.99, 0.995, 0.999, 1.000001]
    for low, high in pairwise(edges):
        inside = [h for h in heard if h.hearing.candidates and low <= h.hearing.confidence < high]
        if inside:
            mean = float(np.mean([h.hearing.confidence for h in inside]))
            true = sum(h.hearing.value == h.clip.value for h in inside)
            print(
                f"  {low:5.3f} to {min(high, 1):5.3f}: {len(inside):5} candidates, "
                f"mean {mean:6.2%}, said {true / len(inside):6.2%}"
            )


@dataclass(frozen=True)
class Cost:
    """What one threshold costs, as shares of the right and of the wrong answers.

    ``wronged`` and ``passed`` are those at the end; ``unclear`` is of the first hearing and
    ``waits`` what asking once more did not clear up: means of both kinds.
    """

    threshold: float
    wronged: float
    passed: float
    unclear: float
    waits: float


def curve(heard: Sequence[Heard], wrong: Sequence[tuple[Heard, int]], policy: Policy) -> list[Cost]:
    """Errors against unclear answers, for thresholds from loose to strict."""
    costs = []
    print(f"\n{policy.name}: certain from    right as wrong   wrong as right   unclear     waits")
    for threshold in (0.3, 0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001, 0.0005):
        policy = replace(policy, right_from=1 - threshold, wrong_to=threshold)
        both = of_right, of_wrong = marked(heard, wrong, policy, numbers=100)
        cost = Cost(
            threshold,
            of_right.final[Verdict.WRONG] / of_right.count,
            of_wrong.final[Verdict.RIGHT] / of_wrong.count,
            sum(marks.verdicts[Verdict.UNCLEAR] / marks.count for marks in both) / 2,
            sum(marks.waits / marks.count for marks in both) / 2,
        )
        costs.append(cost)
        print(
            f"  {1 - threshold:22.2%} {cost.wronged:15.3%} {cost.passed:16.3%} "
            f"{cost.unclear:9.2%} {cost.waits:9.2%}"
        )
    return costs


def draw(curves: dict[str, list[Cost]], plot: Path) -> None:
    import matplotlib as mpl

    mpl.use("Agg")
    from matplotlib import pyplot

    figure, panels = pyplot.subplots(1, len(curves), figsize=(10, 4.5), sharey=True)
    for axes, (name, costs) in zip(panels, curves.items(), strict=True):
        waits = [100 * cost.waits for cost in costs]
        wronged = [100 * cost.wronged for cost in costs]
        passed = [100 * cost.passed for cost in costs]
        axes.plot(waits, wronged, "o-", label="right answers marked wrong")
        axes.plot(waits, passed, "s--", label="wrong answers marked right")
        for cost, x, y in zip(costs, waits, map(max, wronged, passed), strict=True):
            if cost.threshold in (0.3, 0.05, 0.01, 0.001):
                text = f"{1 - cost.threshold:.1%}"
                place = {"textcoords": "offset points", "xytext": (2, 8), "fontsize": 8}
                axes.annotate(text, (x, y), **place)
        axes.axhline(0.1, color="grey", linewidth=0.8)
        axes.axvline(5, color="grey", linewidth=0.8)
        axes.set_yscale("symlog", linthresh=0.05)
        axes.set_ylim(bottom=-0.005)
        axes.set_xlim(left=0)
        axes.set_xlabel("unclear after asking once more, %")
        axes.set_title(name)
    panels[0].set_ylabel("marked the wrong way, %")
    panels[0].legend()
    figure.suptitle("What certainty costs (grey: the goal, at most 0.1 % and 5 %)", fontsize=10)
    figure.tight_layout()
    figure.savefig(plot, dpi=120)
    print(f"the curve: {plot}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", nargs="?", type=Path, default=Path("../shared/data"))
    parser.add_argument("--every", type=int, default=1, help="take every Nth clip")
    parser.add_argument("--plot", type=Path, help="write the trade-off curve to this file")
    parser.add_argument("--model", help="a model's name or folder")
    wanted = parser.parse_args()
    recognizer = open_recognizer(wanted.model)
    everything = list(clips(wanted.folder))[:: wanted.every]
    said = [clip for clip in everything if clip.value is not None and clip.value <= 99]
    print(f"{recognizer.name}; {len(said)} clips with a number")
    print(
        f"{'':41} clips right as wrong  ... at the end   wrong as right  ... at the end   "
        f"unclear: right, wrong  waits  silent"
    )
    random = Random(1)
    two_hands, one_hand = asked_on(2, random), asked_on(1, random)
    first: tuple[list[Heard], list[tuple[Heard, int]]] | None = None
    for condition, disturb in CONDITIONS.items():
        for highest, asked in ((99, two_hands), (9, one_hand)):
            chosen = [clip for clip in said if clip.value is not None and clip.value <= highest]
            heard = hear_all(recognizer, chosen, disturb, highest, seed=3)
            wrong = answers_for(heard, asked.instead, Random(4))
            report(f"{condition}, 0 to {highest}", heard, wrong, highest + 1, asked)
            if highest > 9:
                whole = [one for one in wrong if not _overlaps(*one)]
                report("  ... wrong ones unlike it", heard, whole, highest + 1)
            first = first or (heard, wrong)
    assert first is not None
    for way, (lowest, spoken) in ways_of_answering(wanted.folder, said, Random(6)).items():
        rooms = Random(7)
        heard = [
            Heard(clip, *hear(recognizer, in_a_room(sound, rooms), 99, lowest), None)
            for clip, sound in spoken
        ]
        exact = sum((one.instead or one.hearing).value == one.clip.value for one in heard)
        slipped = two_hands.instead
        if lowest < 0:
            slipped = {-value: [-answer for answer in slipped[value]] for value in slipped}
        report(way, heard, answers_for(heard, slipped, Random(8)), 100 - lowest)
        print(f"{'':32} of {len(heard)}, {exact / len(heard):.1%} were heard as said")
    for speaker in sorted({one.clip.speaker for one in first[0]}):
        heard = [one for one in first[0] if one.clip.speaker == speaker]
        wrong = [(one, answer) for one, answer in first[1] if one.clip.speaker == speaker]
        report(f"quiet room, 0 to 99: {speaker}", heard, wrong)
    other = [clip for clip in everything if clip.value is None]
    nothing = hear_all(recognizer, other, in_a_room, 99, seed=5)
    for policy in POLICIES.values():
        marked = [judge(one.hearing, 25, policy) for one in nothing]
        print(
            f"no number said ({len(marked)} clips), {policy.name}: "
            + ", ".join(f"{verdict} {marked.count(verdict)}" for verdict in Verdict)
        )
    without_sound()
    calibration([*first[0], *nothing])
    curves = {policy.name: curve(*first, policy) for policy in POLICIES.values()}
    if wanted.plot is not None:
        draw(curves, wanted.plot)


if __name__ == "__main__":
    main()
