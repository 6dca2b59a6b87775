"""The functions of ``import oralquiz`` that use several rooms; the others are the rooms' own."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from oralquiz.beads import Sum
from oralquiz.compose import ComposedSums, compose, load_syllabus, request_for
from oralquiz.judge import PRACTICE, Policy, Verdict, judge
from oralquiz.listen import AnswerRecognizer, Hearing, open_recognizer
from oralquiz.sound import SESSION_RATE, Samples, read_recording
from oralquiz.speak import Dictation, Reading, open_voice
from oralquiz.speak import dictate as render


def compose_sums(
    step: str, count: int = 5, *, seed: int = 0, course: str = "two-hands", **wanted: Any
) -> ComposedSums:
    """``count`` different sums that drill ``step`` of ``course`` and use no rule not yet taught.

    Any set of sums is as likely as any other; the same ``seed`` draws the same ones. ``wanted``
    are fields of ``Request`` (``terms``, ``columns``, ``minus`` ...) that replace what the step
    says. The result has the ``sums``, and how many there are in all (``total``). Raises BadInput.
    """
    return compose(request_for(load_syllabus(course), step, **wanted), count, seed)


def dictate(
    terms: Sum, *, pace_s: float = 2.5, voice: str | None = None, language: str = "en"
) -> Dictation:
    """``terms`` read aloud at ``pace_s`` seconds from the onset of a term to the onset of the next.

    ``voice`` is a name of ``oralquiz voice list`` (None: the usual voice of ``language``). The
    result has the ``samples`` (n,) at its ``sample_rate`` and each term's onset and offset in
    samples. Raises BadInput, naming the shortest pace that works, and AudioError.
    """
    said_by = open_voice(voice, pace=pace_s, language=language)
    return render(terms, said_by, pace=pace_s, reading=Reading(language))


@cache
def _recognizer(model: str | None) -> AnswerRecognizer:
    return open_recognizer(model)


def hear(
    recording: str | Path | Samples,
    lowest: int = 0,
    highest: int = 99,
    *,
    model: str | None = None,
) -> Hearing:
    """The number said in ``recording``: a sound file, or samples (n,) float32 at 16 kHz.

    Only ``lowest`` .. ``highest`` can be heard. ``model`` is a name of ``oralquiz models`` or its
    folder (None: our own model of English numbers); it stays loaded. The result's candidates are
    best first, with calibrated probabilities. Raises BadInput for a file that holds no sound.
    """
    recognizer = _recognizer(model)
    if isinstance(recording, str | Path):
        recording = read_recording(Path(recording), SESSION_RATE)
    return recognizer.hear(recording, lowest, highest)


def judge_answer(
    hearing: Hearing, answer: int, *, policy: Policy = PRACTICE, highest: int = 99
) -> Verdict:
    """The verdict on one ``hearing`` of a sum whose answer is ``answer``: right, wrong, unclear
    (ask once more, or listen yourself) or silent.

    ``policy`` says how sure is sure enough; ``highest`` is the largest number that could have been
    said.
    """
    return judge(hearing, answer, policy, numbers=highest + 1)
