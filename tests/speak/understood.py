"""An independent ear: pocketsphinx with its own US English model, which knows none of our voices.

It is given the grammar of a sum read aloud, but none of the sum's numbers.
"""

from __future__ import annotations

import difflib
import random
import tempfile
from functools import cache
from pathlib import Path

import numpy as np
from pocketsphinx import Decoder, get_model_path

from oralquiz.beads import Sum
from oralquiz.sound.clip import Samples
from oralquiz.speak.reading import Reading, term_texts

RATE = 16_000
UNITS = "one two three four five six seven eight nine"
TEENS = "ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen"
TENS = "twenty thirty forty fifty sixty seventy eighty ninety"
GRAMMAR = f"""#JSGF V1.0;
grammar sums;
<unit> = {" | ".join(UNITS.split())};
<teen> = {" | ".join(TEENS.split())};
<ty> = {" | ".join(TENS.split())};
<number> = <unit> | <teen> | <ty> [<unit>];
public <sum> = <number> ((plus | minus) <number>)+;
"""


@cache
def _decoder() -> Decoder:
    with tempfile.TemporaryDirectory() as folder:
        grammar = Path(folder) / "sums.gram"
        grammar.write_text(GRAMMAR)
        return Decoder(
            hmm=get_model_path("en-us/en-us"),
            dict=get_model_path("en-us/cmudict-en-us.dict"),
            jsgf=str(grammar),
            samprate=RATE,
            loglevel="FATAL",
        )


def heard_terms(samples: Samples) -> list[str]:
    """The terms it hears in a dictation (n,) at RATE, in a quiet room with a little noise."""
    quiet = np.zeros(RATE // 4)
    sound = np.concatenate([quiet, samples, quiet, quiet])
    sound = sound + 3e-4 * np.random.default_rng(0).standard_normal(len(sound))
    decoder = _decoder()
    decoder.start_utt()
    decoder.process_raw((sound * 32767).astype("<i2").tobytes(), full_utt=True)
    decoder.end_utt()
    found = decoder.hyp()
    terms: list[str] = []
    for word in (found.hypstr if found else "").split():
        if word in ("plus", "minus") or not terms:
            terms.append(word)
        else:
            terms[-1] += " " + word
    return terms


def said_terms(terms: Sum) -> list[str]:
    return [text.replace("-", " ") for text in term_texts(terms, Reading())]


def terms_right(said: list[str], heard: list[str]) -> int:
    """How many of ``said`` were heard, in order."""
    matches = difflib.SequenceMatcher(None, said, heard, autojunk=False).get_matching_blocks()
    return sum(match.size for match in matches)


def sums_with_every_number(seed: int = 4) -> list[Sum]:
    """Twenty sums in which every number from 1 to 99 is a term once, never below zero."""
    rng = random.Random(seed)
    pool = list(range(1, 100))
    rng.shuffle(pool)
    sums = []
    for begin in range(0, 99, 5):
        terms: list[int] = []
        for number in pool[begin : begin + 5]:
            minus = sum(terms) >= number and rng.random() < 0.5
            terms.append(-number if minus else number)
        sums.append(Sum(tuple(terms)))
    return sums
