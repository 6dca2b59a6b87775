from __future__ import annotations

import json
import tempfile
import zipfile
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from oralquiz.audio.virtual_room import VirtualRoom
from oralquiz.judge.verdict import Verdict
from oralquiz.listen.hearing import Recognizer
from oralquiz.rounds.commands import Command
from oralquiz.rounds.events import Dictated, Event, Heard, Judged
from oralquiz.rounds.round import Options
from oralquiz.rounds.runner import Runner
from oralquiz.session.file import header, open_session
from oralquiz.session.recorder import FileRecorder
from oralquiz.session.reruns import rerun
from oralquiz.sound.blocks import BLOCK, SESSION_RATE, Block
from tests.session.room import MUMBLE, NO, PulseReader, PulseRecognizer, make_round, pulse, run
from tests.sizes import size


def test_a_round_is_dictated_heard_judged_and_recorded(tmp_path: Path) -> None:
    round_ = make_round("1 + 2", "4 + 3", "6 - 1")
    path, _, _ = run(tmp_path / "s", round_, [3, 8, None])
    session = open_session(path)
    assert session.damage == ""
    assert [t.verdict for t in session.turns] == [Verdict.RIGHT, Verdict.WRONG, Verdict.SILENT]
    assert [t.value for t in session.turns] == [3, 8, None]
    assert [t.ended for t in session.turns] == [True] * 3


def test_latency_counts_from_the_end_of_the_last_term(tmp_path: Path) -> None:
    path, _, _ = run(tmp_path / "s", make_round("1 + 2"), [3], delay=0.7312)
    latency = open_session(path).turns[0].latency_s
    assert latency == pytest.approx(0.7312, abs=1 / SESSION_RATE)


def test_terms_are_dictated_exactly_at_the_pace(tmp_path: Path) -> None:
    path, _, _ = run(tmp_path / "s", make_round("1 + 2 + 5 - 3"), [5])
    onsets = [term.onset for term in open_session(path).turns[0].terms]
    assert np.diff(onsets).tolist() == [SESSION_RATE] * 3
    said = open_session(path).audio[:, 0]
    for onset in onsets:
        assert said[onset - 1] == 0
        assert said[onset] == 0.25 * 32768


def test_an_unclear_answer_is_asked_for_once_more_then_waits(tmp_path: Path) -> None:
    path, _, _ = run(tmp_path / "s", make_round("9 + 4"), [MUMBLE, MUMBLE])
    session = open_session(path)
    assert [a.verdict for a in session.turns[0].attempts] == [Verdict.UNCLEAR] * 2
    assert session.turns[0].latency_s is not None
    assert session.turns[0].attempts[1].latency_s is None
    assert session.waiting == session.turns


def test_the_second_try_can_settle_it(tmp_path: Path) -> None:
    path, _, _ = run(tmp_path / "s", make_round("9 + 4"), [MUMBLE, 13])
    assert open_session(path).turns[0].verdict is Verdict.RIGHT


def test_a_voice_that_has_begun_is_heard_out(tmp_path: Path) -> None:
    path, answers, _ = run(tmp_path / "s", make_round("1 + 2"), [3], delay=2.9)
    judged = next(at for at, event in answers.events if isinstance(event, Judged))
    session = open_session(path)
    assert session.turns[0].verdict is Verdict.RIGHT
    deadline = session.turns[0].terms[-1].offset + 3 * SESSION_RATE
    assert judged > deadline


def test_without_consent_no_voice_is_kept(tmp_path: Path) -> None:
    heard = open_session(run(tmp_path / "y", make_round("1 + 2"), [3])[0])
    unheard = open_session(run(tmp_path / "n", make_round("1 + 2", consent=False), [3])[0])
    assert np.abs(heard.audio[:, 1]).max() > 600
    assert not unheard.audio[:, 1].any()
    assert unheard.audio[:, 0].any()
    assert unheard.turns[0].verdict is Verdict.RIGHT


@pytest.mark.parametrize("consent", [True, False])
def test_a_session_runs_again_byte_for_byte(tmp_path: Path, consent: bool) -> None:
    round_ = make_round("1 + 2", "4 + 3", "9 + 4", "6 - 1", consent=consent)
    path, _, _ = run(tmp_path / "s", round_, [3, 8, MUMBLE, 13, None])
    session = open_session(path)
    again = rerun(session)
    assert again.difference == ""
    assert [e.encode() for e in again.events] == [e.encode() for e in session.events]
    assert np.array_equal(again.audio, session.audio)


def test_a_right_answer_that_was_asked_about_runs_again_byte_for_byte(tmp_path: Path) -> None:
    path, _, _ = run(tmp_path / "s", make_round("20 + 30"), [50, 49], delay=1.1)
    session = open_session(path)
    attempts = session.turns[0].attempts
    assert [(one.verdict, one.value) for one in attempts] == [("unclear", 50), ("right", 50)]
    assert session.turns[0].verdict is Verdict.RIGHT
    again = rerun(session)
    assert again.difference == ""
    assert [e.encode() for e in again.events] == [e.encode() for e in session.events]


def test_an_altered_session_does_not_run_again(tmp_path: Path) -> None:
    path, _, _ = run(tmp_path / "s", make_round("1 + 2"), [8])
    session = open_session(path)
    events = tuple(
        replace(e, event=replace(e.event, verdict=Verdict.RIGHT))
        if isinstance(e.event, Judged)
        else e
        for e in session.events
    )
    altered = replace(session, events=events)
    assert "judged" in rerun(altered).difference


def held_with(
    folder: Path, sum_: str, *said: tuple[float, int], options: Options | None = None
) -> tuple[Path, list[tuple[int, Event]]]:
    """A round of one sum, answered by pulses of 0.4 s at given seconds after its last term."""
    events: list[tuple[int, Event]] = []
    after = [(round(after_s * SESSION_RATE), value) for after_s, value in said]
    room = VirtualRoom(np.random.default_rng(1))
    round_ = make_round(sum_)
    options = options or Options(pace_s=1.0, answer_within_s=3.0)

    def watch(at: int, event: Event) -> None:
        events.append((at, event))
        if isinstance(event, Dictated):
            for delay, value in after:
                room.speak(pulse(value), event.terms[-1].offset + delay)

    head = header(round_, options, voice="pulse", model="pulse", software="test")
    recorder = FileRecorder(folder, head)
    Runner(round_, PulseReader(), room, PulseRecognizer(), recorder, options, watch).run(room)
    return recorder.finish(), events


@pytest.mark.parametrize(
    ("said", "value", "verdict", "latency_s"),
    [
        # the answer is 3; a pulse lasts 0.4 s; 0.45 s of quiet end a wrong number
        ([(1.0, 7)], 7, "wrong", 1.0),
        ([(1.0, 7), (1.8, 3)], 3, "right", 1.8),
        ([(1.0, 7), (1.8, 8)], 8, "wrong", 1.8),
        ([(1.0, 7), (1.8, 8), (2.6, 3)], 3, "right", 2.6),
        ([(1.0, 7), (1.8, NO), (2.6, 3)], 3, "right", 2.6),  # "seven, no, three"
        ([(1.0, 7), (1.8, NO)], 7, "wrong", 1.0),  # only a cough
        ([(1.0, 7), (2.1, 3)], 7, "wrong", 1.0),  # too late
        ([(1.0, 3), (1.6, 7)], 3, "right", 1.0),  # right at once
        ([(-0.2, 7), (0.5, 8), (1.3, 3)], 3, "right", 1.3),  # an early one before
        ([(-0.2, 7), (1.0, NO)], None, "unclear", 1.0),
        ([(2.9, 7), (3.7, 3)], 3, "right", 3.7),  # begun in time, taken back after it
    ],
)
def test_a_wrong_number_may_be_taken_back(
    tmp_path: Path,
    said: list[tuple[float, int]],
    value: int | None,
    verdict: str,
    latency_s: float,
) -> None:
    asks_not = Options(pace_s=1.0, answer_within_s=3.0, asks=0)
    path, _ = held_with(tmp_path / "s", "1 + 2", *said, options=asks_not)
    session = open_session(path)
    turn = session.turns[0]
    assert (turn.value, turn.verdict) == (value, verdict)
    assert turn.latency_s == pytest.approx(latency_s, abs=0.001)
    assert session.damage == ""
    if value is not None:
        assert turn.attempts[0].candidates[0].value == value
    assert rerun(session).difference == ""


def test_a_number_taken_back_for_an_unclear_one_is_asked_about(tmp_path: Path) -> None:
    path, _ = held_with(tmp_path / "s", "9 + 4", (1.0, 7), (1.8, MUMBLE))
    first, *_ = open_session(path).turns[0].attempts
    assert (first.value, first.verdict) == (13, "unclear")


def test_a_wrong_number_is_marked_when_the_time_to_take_it_back_is_over(tmp_path: Path) -> None:
    """The wait for another number, exact to the block; after a right one there is no wait."""
    for value, wait_s in ((7, Options().take_back_s), (3, 0.0)):
        _, events = held_with(tmp_path / str(value), "1 + 2", (1.0, value))
        (offset,) = (e.offset for _, e in events if isinstance(e, Heard) and e.guesses)
        (at,) = (at for at, e in events if isinstance(e, Judged))
        assert offset is not None
        assert wait_s <= (at - offset) / SESSION_RATE <= wait_s + 2 * BLOCK / SESSION_RATE


def test_a_file_from_before_numbers_could_be_taken_back_runs_again(tmp_path: Path) -> None:
    options = Options(pace_s=1.0, answer_within_s=3.0, take_back_s=0.0)
    path, _ = held_with(tmp_path / "s", "1 + 2", (1.0, 7), (1.8, 3), options=options)
    old = tmp_path / "old.zip"
    with zipfile.ZipFile(path) as now, zipfile.ZipFile(old, "w") as then:
        for name in now.namelist():
            content = now.read(name)
            if name == "session.json":
                head = json.loads(content)
                del head["options"]["take_back_s"]
                content = json.dumps(head).encode()
            then.writestr(name, content)
    session = open_session(old)
    assert (session.turns[0].value, session.turns[0].verdict) == (7, "wrong")
    assert sum(event.type == "heard" for event in session.events) == 1
    assert rerun(session).difference == ""


class Desk:
    """Runs a round block by block so that commands can be given in between."""

    def __init__(self, folder: Path, *sums: str, recognizer: Recognizer | None = None) -> None:
        self.round = make_round(*sums)
        options = Options(pace_s=1.0, answer_within_s=3.0)
        self.room = VirtualRoom(np.random.default_rng(1))
        head = header(self.round, options, voice="pulse", model="pulse", software="test")
        self.recorder = FileRecorder(folder, head)
        listening = recognizer or PulseRecognizer()
        self.runner = Runner(
            self.round, PulseReader(), self.room, listening, self.recorder, options
        )

    def for_seconds(self, duration: float) -> None:
        self.for_blocks(round(duration * SESSION_RATE / BLOCK))

    def for_blocks(self, count: int, most: int = 1) -> None:
        """``count`` blocks, up to ``most`` in one go where the runner allows it."""
        while count:
            blocks = min(count, most, self.runner.at_once)
            read = [self.room.read() for _ in range(blocks)]
            samples = np.concatenate([block.samples for block in read])
            self.runner.take(Block(read[0].start, samples))
            count -= blocks


def test_commands_take_effect_and_run_again(tmp_path: Path) -> None:
    desk = Desk(tmp_path / "s", "1 + 2", "4 + 3", "5 + 1", "2 + 2")
    desk.for_seconds(1.0)
    desk.runner.command(Command("pause"))
    desk.for_seconds(1.0)
    assert desk.runner.state.name == "PAUSED"
    desk.runner.command(Command("resume"))
    desk.for_seconds(1.0)
    desk.runner.command(Command("repeat"))
    desk.for_seconds(1.0)
    desk.runner.command(Command("typed", 3))
    desk.for_seconds(3.0)
    desk.runner.command(Command("skip"))
    desk.for_seconds(2.0)
    desk.runner.interrupt("the microphone is gone")
    desk.for_seconds(1.0)
    desk.runner.command(Command("resume"))
    desk.for_seconds(0.5)
    desk.runner.command(Command("stop"))
    desk.for_seconds(0.1)
    assert desk.runner.state.name == "DONE"
    session = open_session(desk.recorder.finish())
    assert [t.verdict for t in session.turns] == [Verdict.RIGHT, None, None]
    assert session.turns[0].attempts[0].typed
    assert rerun(session).difference == ""


@pytest.mark.parametrize(("typed", "verdict"), [((3,), "right"), ((3, 9), "wrong")])
def test_a_number_typed_while_the_sum_is_read_counts_when_it_is_over(
    tmp_path: Path, typed: tuple[int, ...], verdict: str
) -> None:
    """A total typed on the way is not an answer yet, whatever it was typed on; the last one
    counts."""
    desk = Desk(tmp_path / "s", "1 + 2")
    desk.for_seconds(1.0)
    for value in typed:
        desk.runner.command(Command("typed", value))
        desk.for_seconds(0.2)
        assert desk.runner.state.name in ("DICTATING", "LISTENING")
    desk.for_seconds(3)
    session = open_session(desk.recorder.finish())
    (turn,) = session.turns
    assert (turn.verdict, turn.value, len(turn.attempts)) == (verdict, typed[-1], 1)
    assert turn.latency_s is not None and 0 <= turn.latency_s < 0.1
    assert rerun(session).difference == ""


@pytest.mark.parametrize("name", ["pause", "repeat", "skip"])
def test_what_was_typed_early_does_not_outlive_its_sum(tmp_path: Path, name: str) -> None:
    desk = Desk(tmp_path / "s", "1 + 2", "4 + 4")
    desk.for_seconds(1.0)
    desk.runner.command(Command("typed", 9))
    desk.for_seconds(0.1)
    desk.runner.command(Command(name))
    desk.for_seconds(0.1)
    desk.runner.command(Command("resume"))
    desk.for_seconds(3)
    desk.runner.close("enough")
    assert all(turn.attempts == () for turn in open_session(desk.recorder.finish()).turns)


def test_a_pause_silences_the_dictation(tmp_path: Path) -> None:
    desk = Desk(tmp_path / "s", "1 + 2 + 3")
    desk.for_seconds(0.8)
    desk.runner.command(Command("pause"))
    desk.for_seconds(2.0)
    desk.runner.close("enough")
    said = open_session(desk.recorder.finish()).audio[:, 0]
    assert said[: round(0.82 * SESSION_RATE)].any()
    assert not said[round(0.82 * SESSION_RATE) :].any()


def test_a_gap_in_the_microphone_is_refused() -> None:
    desk_round = make_round("1 + 2")

    class Nowhere:
        def event(self, at: int, event: object) -> None: ...

        def sound(self, said: object, heard: object) -> None: ...

    room = VirtualRoom(np.random.default_rng(1))
    runner = Runner(desk_round, PulseReader(), room, PulseRecognizer(), Nowhere())
    with pytest.raises(ValueError, match="not 320 at 0"):
        runner.take(Block(640, np.zeros(BLOCK, dtype=np.float32)))


def test_more_than_may_be_taken_in_one_go_is_refused(tmp_path: Path) -> None:
    desk = Desk(tmp_path / "s", "1 + 2")
    for samples in (2 * BLOCK, BLOCK // 2, 0):  # nothing has begun yet: one block only
        with pytest.raises(ValueError, match="not 320 at 0"):
            desk.runner.take(Block(0, np.zeros(samples, np.float32)))
    desk.for_blocks(1)
    many = desk.runner.at_once
    assert many > 20  # until the last term sounds, nothing can happen
    with pytest.raises(ValueError, match="at 320, not"):
        desk.runner.take(Block(BLOCK, np.zeros((many + 1) * BLOCK, np.float32)))
    desk.runner.command(Command("pause"))
    assert desk.runner.at_once == 1
    desk.recorder.close()


def test_the_sound_is_heard_as_it_is_recorded(tmp_path: Path) -> None:
    """The recogniser gets what the file keeps: 16 bits, no more."""
    seen: list[np.ndarray] = []

    class Spy(PulseRecognizer):
        def listen(self, lowest: int, highest: int):  # type: ignore[no-untyped-def]
            listener = super().listen(lowest, highest)
            feed = listener.feed

            def spied(samples):  # type: ignore[no-untyped-def]
                seen.append(samples)
                return feed(samples)

            listener.feed = spied  # type: ignore[method-assign]
            return listener

    desk = Desk(tmp_path / "s", "1 + 2", recognizer=Spy())
    desk.room.speak(pulse(3), 3 * SESSION_RATE)
    desk.for_seconds(5)
    desk.runner.close("enough")
    audio = open_session(desk.recorder.finish()).audio[:, 1]
    fed = np.concatenate(seen) * 32768
    start = next(
        i for i in range(0, len(audio), BLOCK) if np.array_equal(audio[i : i + BLOCK], fed[:BLOCK])
    )
    assert np.array_equal(fed, audio[start : start + len(fed)])


def test_an_answer_before_the_end_of_the_sum_is_kept_as_early(tmp_path: Path) -> None:
    path, _, _ = run(tmp_path / "s", make_round("1 + 2"), [3], delay=-0.3)
    session = open_session(path)
    (turn,) = session.turns
    assert turn.verdict is Verdict.RIGHT
    assert turn.latency_s == pytest.approx(-0.3, abs=1 / SESSION_RATE)
    assert rerun(session).difference == ""


def test_a_total_said_to_oneself_is_no_answer_when_one_follows(tmp_path: Path) -> None:
    desk = Desk(tmp_path / "s", "1 + 2")
    desk.room.speak(pulse(1, 0.2), round(1.7 * SESSION_RATE))  # while the last term is read
    desk.room.speak(pulse(3), 3 * SESSION_RATE)
    desk.for_seconds(5)
    desk.runner.close("enough")
    session = open_session(desk.recorder.finish())
    heard = [e.event for e in session.events if isinstance(e.event, Heard)]
    assert [(h.guesses[0].value, h.early) for h in heard] == [(1, True), (3, False)]
    assert session.turns[0].verdict is Verdict.RIGHT
    assert session.turns[0].latency_s is not None
    assert session.turns[0].latency_s > 0
    assert rerun(session).difference == ""


def test_an_early_answer_counts_when_nothing_follows(tmp_path: Path) -> None:
    desk = Desk(tmp_path / "s", "1 + 2")
    desk.room.speak(pulse(4, 0.2), round(1.7 * SESSION_RATE))
    desk.for_seconds(8)
    desk.runner.close("enough")
    session = open_session(desk.recorder.finish())
    (turn,) = session.turns
    assert (turn.verdict, turn.value) == (Verdict.WRONG, 4)
    assert turn.attempts[0].words == "4"
    assert turn.latency_s is not None
    assert turn.latency_s < 0
    assert rerun(session).difference == ""


COMMANDS = st.sampled_from(
    [Command(name) for name in ("pause", "resume", "repeat", "skip", "stop")]
    + [Command("typed", 3), Command("typed", 9)]
)


@settings(max_examples=size(6, 12), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    commands=st.lists(st.tuples(st.integers(0, 400), COMMANDS), max_size=8),
    most=st.integers(1, 60),
)
@example(commands=[(0, Command("pause")), (1, Command("resume"))], most=1)
@example(commands=[(50, Command("stop")), (50, Command("pause")), (51, Command("resume"))], most=2)
@example(
    commands=[(60, Command("skip")), (121, Command("pause")), (122, Command("resume"))], most=50
)
@example(commands=[(70, Command("typed", 9))], most=8)
def test_any_commands_at_any_moment_leave_a_session_that_runs_again(
    commands: list[tuple[int, Command]], most: int
) -> None:
    """Block by block, however many were taken in one go."""
    moments = sorted({when for when, _ in commands} | {0, 450})
    with tempfile.TemporaryDirectory() as folder:
        desk = Desk(Path(folder) / "s", "1 + 2", "9 + 4")
        desk.room.speak(pulse(3), 3 * SESSION_RATE)
        for block, following in pairwise(moments):
            for when, command in commands:
                if when == block:
                    desk.runner.command(command)
            desk.for_blocks(following - block, most)
        desk.runner.close("enough")
        session = open_session(desk.recorder.finish())
        assert session.damage == ""
        assert rerun(session).difference == ""


def test_a_microphone_that_fails_at_once_still_gives_a_whole_round(tmp_path: Path) -> None:
    desk = Desk(tmp_path / "s", "1 + 2")
    desk.runner.interrupt("no microphone")
    desk.runner.command(Command("resume"))
    desk.room.speak(pulse(3), 3 * SESSION_RATE)
    desk.for_seconds(8)
    session = open_session(desk.recorder.finish())
    assert session.damage == ""
    assert session.turns[0].verdict is Verdict.RIGHT
    assert rerun(session).difference == ""


def test_what_one_pupil_said_never_counts_for_the_next(tmp_path: Path) -> None:
    desk = Desk(tmp_path / "s", "1 + 2", "2 + 2")
    desk.room.speak(pulse(50, 0.1), round(1.7 * SESSION_RATE))  # early, then passed over
    desk.for_seconds(2.4)
    desk.runner.command(Command("skip"))
    desk.for_seconds(12)
    session = open_session(desk.recorder.finish())
    assert session.turns[0].attempts == ()
    (attempt,) = session.turns[1].attempts
    assert (attempt.verdict, attempt.words, attempt.candidates) == (Verdict.SILENT, "", ())
