"""captions.vtt against the W3C's WebVTT grammar, as another library reads it."""

from __future__ import annotations

import io
from pathlib import Path

import webvtt

from oralquiz.rounds.events import Entry, Heard
from oralquiz.session.file import open_session
from oralquiz.session.webvtt import captions, timestamp
from tests.session.room import make_round, run


def test_a_session_has_a_cue_for_every_term_and_answer(tmp_path: Path) -> None:
    path, _, _ = run(tmp_path / "s", make_round("1 + 2", "4 + 4"), [3, 9])
    session = open_session(path)
    cues = webvtt.from_buffer(io.StringIO(captions(session.events, session.sample_rate))).captions
    assert [cue.text for cue in cues] == ["1", "2", "3", "4", "4", "9"]
    assert [cue.voice for cue in cues] == ["teacher", "teacher", "pupil"] * 2
    onset = session.turns[0].terms[0].onset
    assert cues[0].start == timestamp(onset, session.sample_rate)


def test_markup_in_what_was_heard_is_only_text() -> None:
    heard = Heard(0, 0, "<b>&</b> --> x", (), 16000, 32000, early=False)
    text = captions([Entry(0, 40000, heard)], 16000)
    (cue,) = webvtt.from_buffer(io.StringIO(text)).captions
    assert (cue.start, cue.end) == ("00:00:01.000", "00:00:02.000")
    assert "<b>" not in text
    assert "-->" not in cue.raw_text


def test_timestamps_round_to_the_nearest_millisecond() -> None:
    assert timestamp(0, 16000) == "00:00:00.000"
    assert timestamp(8, 16000) == "00:00:00.001"  # half a millisecond rounds up
    assert timestamp(16000 * 3723 + 7984, 16000) == "01:02:03.499"
