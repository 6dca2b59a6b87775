"""A whole round on a sound card whose microphone hears its loudspeaker, in real time.

The card is PulseAudio's null sink and its monitor. The pupil answers through the same sink, which
makes the time of every answer known to the sample; the round does not know what it plays.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from oralquiz.audio.delay_chirp import chirp, find_echo
from oralquiz.audio.echo_canceller import EchoCanceller
from oralquiz.audio.sound_card import SoundCard
from oralquiz.beads import Sum
from oralquiz.errors import AudioError
from oralquiz.listen.recognizer import open_recognizer
from oralquiz.rounds.events import Dictated, Event
from oralquiz.rounds.round import Options, Round, Turn
from oralquiz.rounds.round_reader import VoiceReader
from oralquiz.session.file import open_session
from oralquiz.session.live_round import Devices, open_round
from oralquiz.session.reruns import rerun
from oralquiz.sound.blocks import SESSION_RATE
from oralquiz.sound.resampling import at_rate
from oralquiz.speak.voices import open_voice, pupil_voices
from tests.session.virtualcard import using_card

pytestmark = pytest.mark.sound

SUMS = (Sum((34, 13)), Sum((21, 30, -10)), Sum((52, 5)))
ANSWERS = ("forty-seven", None, "fifty-two")
"""Right; silent; wrong, and over the last term."""

DELAY_S = 0.9


ATTEMPTS = 3
"""A computer too busy to serve its sound card in time moves what is played. That is reported and
corrected elsewhere (test_sound_card.py); here it would only blur the times, so that round is held
again."""


def in_its_place(card: SoundCard) -> bool:
    """Whether nothing stumbled, and a chirp is still heard where ``play`` says, within 1 ms."""
    try:
        at = card.play(chirp(), card.now() + SESSION_RATE // 10)
        blocks = [card.read()]
        while blocks[-1].start < at + 2 * SESSION_RATE:
            blocks.append(card.read())
    except AudioError:  # it was given up, as it is when a loudspeaker is gone
        return False
    echo = find_echo(np.concatenate([block.samples for block in blocks]), chirp())
    moved = None if echo is None else blocks[0].start + echo.at - at
    return card.xruns == 0 and card.lost == 0 and moved is not None and abs(moved) <= 16


def held_round(folder: Path) -> tuple[Path, dict[int, int], bool]:
    """The session, the true latencies in samples by turn, and whether all sound kept its place."""
    folder.mkdir()
    turns = tuple(Turn("Mia", s, consent=True) for s in SUMS)
    round_ = Round("live", "2026-01-01T10:00:00+00:00", turns)
    options = Options(pace_s=1.4, answer_within_s=2.0, lead_s=0.4, gap_s=0.4)
    pupil = pupil_voices()[0]
    answered: dict[int, int] = {}
    with using_card(folder / "pulse"), SoundCard() as card:
        assert card.measure_lag() is not None

        def answer(at: int, event: Event) -> None:
            if not isinstance(event, Dictated) or (said := ANSWERS[event.turn]) is None:
                return
            last = event.terms[-1]
            early = event.turn == 2
            place = (
                last.onset + SESSION_RATE // 5
                if early
                else last.offset + round(DELAY_S * SESSION_RATE)
            )
            clip = at_rate(pupil.say(said), SESSION_RATE).samples
            clip = clip * np.float32(0.4 / np.abs(clip).max())
            answered[event.turn] = card.play(clip, place) - last.offset

        reader = VoiceReader(open_voice(pace=1.4), 1.4)
        devices = Devices(reader, card, open_recognizer(), EchoCanceller())
        with open_round(round_, options, devices, folder / "live", watch=answer) as live:
            live.run(card)
        return live.finish(), answered, in_its_place(card)


def test_a_round_in_a_room_that_hears_its_own_loudspeaker(tmp_path: Path) -> None:
    for attempt in range(ATTEMPTS):
        path, answered, in_place = held_round(tmp_path / str(attempt))
        if in_place:
            break
    assert in_place, f"the sound was not served in time in any of {ATTEMPTS} rounds"
    session = open_session(path)
    verdicts = [turn.verdict for turn in session.turns]
    values = [turn.value for turn in session.turns]
    assert values == [47, None, 52]
    assert verdicts[:2] == ["right", "silent"]
    # half covered by the reading, it may be asked for again
    assert verdicts[2] in ("wrong", "unclear")
    latencies = [turn.latency_s for turn in session.turns]
    # the engine's first sound is its voice, here a weak /f/
    assert latencies[0] == pytest.approx(answered[0] / SESSION_RATE, abs=0.020)
    assert latencies[1] is None
    assert latencies[2] is not None
    assert latencies[2] < 0
    assert rerun(session).difference == ""
