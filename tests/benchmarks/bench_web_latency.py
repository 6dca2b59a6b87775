"""How accurate is a latency that comes through a browser? Against known values, in one run.

    python -m tests.benchmarks.bench_web_latency [--answers 20] [--loop]

A headless Chromium opens a pupil's page; its microphone is a sound file (Chromium's
``--use-file-for-fake-audio-capture``) with a chirp as a marker and spoken numbers at known samples.
The page streams it, the server hears it, and the recorded session says where the voice was placed.

1. Stream: the chirps are found again in the recorded microphone: how far their spacing is from that
   in the file (samples lost, doubled or distorted on the way), blocks lost and doubled.
2. Voice onset: where the session puts the onset, minus where the voice begins in the file.
3. With ``--loop`` (a PulseAudio server with a sink, and a source on its monitor, must be
   running): Chromium plays into that sink and hears its monitor, so the
   dictation itself comes back. Where it comes back, minus where the server said it would be heard
   (first with the delay that the browser reports, then with the one that a chirp measured).

Errors are in milliseconds: mean and standard deviation. A constant error can be subtracted, a
scattered one cannot (browsers in Bridges et al. 2020: SD 1 to 40 ms).
"""

from __future__ import annotations

import argparse
import asyncio
import os
import shutil
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
import scipy.signal
import soundfile
from playwright.sync_api import Page, expect, sync_playwright

from oralquiz.audio.delay_chirp import chirp
from oralquiz.records.pupil_list import add_pupil
from oralquiz.rounds.planning import RoundPlan, Way
from oralquiz.session.file import Session, open_session
from oralquiz.sound.blocks import SESSION_RATE
from oralquiz.sound.clip import Samples
from oralquiz.sound.resampling import at_session_rate
from oralquiz.speak.reading import number_words
from oralquiz.speak.voices import pupil_voices
from oralquiz.web.class_round import ClassRound
from oralquiz.web.page_stream import PageStream
from tests.browser.running_server import RunningServer, run_server

EVERY_S = 2.6
"""Seconds from one sound in the file to the next."""

MARKER_EVERY = 6
"""One sound in this many is a chirp instead of a number."""


def microphone_file(path: Path, count: int) -> tuple[list[int], dict[int, list[int]]]:
    """Numbers with a chirp now and then: the samples at which chirps start, and where each number
    begins (it comes several times)."""
    rng = np.random.default_rng(7)
    sound = (rng.standard_normal(round((2 + EVERY_S * count) * SESSION_RATE)) * 1e-3).astype("f4")
    marker, voices = chirp(), pupil_voices()
    chirps: list[int] = []
    numbers: dict[int, list[int]] = {}
    for k in range(count):
        at = round((2 + EVERY_S * k) * SESSION_RATE)
        if k % MARKER_EVERY == 0:
            sound[at : at + len(marker)] += marker
            chirps.append(at)
            continue
        value = 21 + k % 79
        clip = at_session_rate(voices[k % len(voices)].say(number_words(value))).samples
        voice = 0.3 * clip / np.abs(clip).max()
        sound[at : at + len(voice)] += voice
        numbers.setdefault(value, []).append(at)  # clips are trimmed: they begin with the voice
    soundfile.write(path, scipy.signal.resample_poly(sound, 3, 1), 48_000, "PCM_16")
    return chirps, numbers


def places(heard: Samples, marker: Samples) -> list[int]:
    """The starts of all chirps in ``heard``."""
    match = scipy.signal.correlate(heard, marker, mode="valid", method="fft")
    envelope = np.abs(scipy.signal.hilbert(match))
    peaks, _ = scipy.signal.find_peaks(envelope, height=0.5 * envelope.max(), distance=SESSION_RATE)
    return [int(p) for p in peaks]


def row(name: str, errors_ms: list[float]) -> None:
    if not errors_ms:
        print(f"{name:<58} none")
        return
    mean, sd = np.mean(errors_ms), np.std(errors_ms, ddof=1) if len(errors_ms) > 1 else 0.0
    print(f"{name:<58} n={len(errors_ms):<3} mean {mean:+8.2f}  SD {sd:6.2f}")


def join(room: RunningServer, page: Page, measure: bool = False) -> None:
    async def code() -> str:
        classroom = room.classroom
        classroom.class_name = "3B"
        pupil = next(iter(await classroom.records.do(_pupils)), None)
        if pupil is None:
            created = "2026-01-05T09:00:00+00:00"
            await classroom.records.do(
                add_pupil, "Asha", created=created, class_name="3B", consent=True
            )
        else:
            classroom.roster.release(pupil)
        await classroom.assembly.hearing.at_once()
        return classroom.codes.for_class("3B")[0]

    page.goto(f"{room.url}/join?code={_on(room, code())}")
    page.fill("#name", "Asha")
    page.click("text=Join")
    page.click("#ready")
    expect(page.locator("#gate")).to_be_hidden()
    if measure:
        page.click("summary:has-text('Settings')")
        page.click("#chirp")
        expect(page.locator("#chirped")).to_contain_text("ms", timeout=15_000)
        print("   page:", page.inner_text("#chirped"))


def _pupils(db: Any) -> Any:
    from oralquiz.records.pupil_list import pupils

    return pupils(db)


def _on(room: RunningServer, work: Any) -> Any:
    return asyncio.run_coroutine_threadsafe(work, room.loop).result(60)


def hold(room: RunningServer, plan: RoundPlan) -> tuple[Session, PageStream]:
    """Hold the round to its end; returns the session, and the page's stream as it was then."""
    room.classroom.plan = plan
    class_round: ClassRound = _on(room, room.classroom.begin())
    remote = next(iter(class_round.participants.values())).remote
    while remote.file is None:
        time.sleep(0.1)
    time.sleep(0.5)
    return open_session(remote.file), remote.stream


def through_a_file(room: RunningServer, playwright: Any, folder: Path, answers: int) -> None:
    wav = folder / "microphone.wav"
    _, numbers = microphone_file(wav, 400)
    browser = playwright.chromium.launch(
        executable_path=shutil.which("chromium"),
        args=[
            "--no-sandbox",
            "--use-fake-ui-for-media-stream",
            "--use-fake-device-for-media-stream",
            f"--use-file-for-fake-audio-capture={wav}%noloop",
        ],
    )
    page = browser.new_context(permissions=["microphone"]).new_page()
    join(room, page)
    plan = RoundPlan("direct", Way.OWN, count=answers, terms=1, pace_s=1.0)
    session, stream = hold(room, plan)
    browser.close()
    heard = session.audio[:, 1].astype(np.float32) / 32768.0
    chirps = places(heard, chirp())
    apart = MARKER_EVERY * EVERY_S
    gaps = np.diff(chirps) / SESSION_RATE - apart
    row("stream: distance of two markers, error (ms)", [1000 * float(g) for g in gaps])
    print(f"{'stream: blocks lost, doubled':<58} {stream.blocks.lost}, {stream.blocks.doubled}")
    errors = []
    for turn in session.turns:
        for attempt in turn.attempts:
            if attempt.onset is None or attempt.value not in numbers or not chirps:
                continue
            # it does not matter which chirp it is: they are a whole number of periods apart
            since = (attempt.onset - chirps[0]) / SESSION_RATE
            in_file = [(at / SESSION_RATE - 2.0) for at in numbers[attempt.value]]
            off = min(((since - at + apart / 2) % apart - apart / 2 for at in in_file), key=abs)
            if abs(off) < 0.3:  # otherwise it was misheard, or began before the window
                errors.append(1000 * off)
    row("voice onset: session minus file (ms)", errors)


def through_the_air(room: RunningServer, playwright: Any, answers: int, measure: bool) -> None:
    """The page's loudspeaker feeds its microphone: what the server said, against what came back."""
    browser = playwright.chromium.launch(
        executable_path=shutil.which("chromium"),
        ignore_default_args=["--mute-audio"],
        args=["--no-sandbox", "--use-fake-ui-for-media-stream"],
    )
    page = browser.new_context(permissions=["microphone"]).new_page()
    join(room, page, measure)
    plan = RoundPlan("direct", Way.OWN, count=answers, terms=2, pace_s=1.5, answer_within_s=3)
    session, stream = hold(room, plan)
    reported = stream.delays.delay_s
    browser.close()
    said = session.audio[:, 0].astype(np.float32) / 32768.0
    heard = session.audio[:, 1].astype(np.float32) / 32768.0
    errors = []
    for turn in session.turns:
        first, last = turn.terms[0].onset, turn.terms[-1].offset
        part = said[first:last]
        around = SESSION_RATE // 2
        window = heard[max(0, first - around) : last + around]
        match = scipy.signal.correlate(window, part, mode="valid", method="fft")
        at = int(np.argmax(np.abs(match))) + max(0, first - around)
        errors.append(1000 * (at - first) / SESSION_RATE)
    how = "measured by a chirp" if measure else "as the browser reports"
    row(f"loudspeaker: heard minus said, delay {how} (ms)", errors)
    print(f"{'   delay used (ms)':<58} {1000 * reported:.1f}")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--answers", type=int, default=20)
    parser.add_argument("--loop", action="store_true", help="PulseAudio loop is there")
    wanted = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="oralquiz-") as home:
        os.environ["ORALQUIZ_HOME"] = home
        room = run_server(Path(home) / "data")
        try:
            with sync_playwright() as playwright:
                through_a_file(room, playwright, Path(home), wanted.answers)
                if wanted.loop:
                    for measure in (False, True):
                        through_the_air(room, playwright, wanted.answers, measure)
        finally:
            room.stop()


if __name__ == "__main__":
    main()
