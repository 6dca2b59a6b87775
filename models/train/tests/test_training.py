"""The sums and steps of training against slower computations of the same.

Run in the training environment: ``python -m pytest models/train/tests``.
"""

import itertools
import math
from pathlib import Path

import features
import fullsum
import numpy as np
import objective
import pytest
import sounds
import torch
import units
from augment import Planner, Renderer, Sampler, Store, Tempo
from corpus import Clip
from network import Network, Shape
from train import ALIGN, GUESS, MMI, Trainer, doubted

SMALL = Shape(filters=(4, 4, 4), width=16, bottleneck=8)


def tiny(count: int = 30, seconds: float = 0.4) -> Store:
    """Hums of one pitch a word, said by two people, and some other speech."""
    words = [("one",), ("two",), ("forty", "two"), (units.UNK,)]
    clips, waves = [], []
    for i in range(count):
        said = words[i % len(words)]
        kind = "other" if said == (units.UNK,) else "number" if len(said) == 1 else "phrase"
        clips.append(Clip("", said, f"voice{i % 2}", "espeak", kind, "train"))
        t = np.arange(int(seconds * len(said) * 16_000)) / 16_000
        waves.append((8000 * np.sin(2 * np.pi * (200 + 150 * (i % 4)) * t)).astype(np.int16))
    return Store.build(clips, waves, torch.device("cpu"))


def brute(scores: np.ndarray, acceptor: fullsum.Acceptor) -> tuple[float, np.ndarray]:
    """Log sum over all state sequences and the posteriors, one by one."""
    frames, outputs = scores.shape
    total, seen = 0.0, np.zeros((frames, outputs))
    for path in itertools.product(range(len(acceptor.pdf)), repeat=frames):
        log = acceptor.start[path[0]] + acceptor.end[path[-1]]
        log += sum(acceptor.arcs[a, b] for a, b in itertools.pairwise(path))
        log += sum(scores[t, acceptor.pdf[s]] for t, s in enumerate(path))
        weight = math.exp(log) if log > -1e3 else 0.0
        total += weight
        for t, s in enumerate(path):
            seen[t, acceptor.pdf[s]] += weight
    return math.log(total), seen / total


@pytest.mark.parametrize("words", [("oh",), ("a",), ()])
def test_sums_over_paths_are_those_over_every_path(words: tuple[str, ...]) -> None:
    acceptor = fullsum.transcript_acceptor(words, 1)
    scores = np.random.default_rng(1).normal(size=(4, len(units.UNITS)))
    total, seen = brute(scores, acceptor)
    tensor = torch.tensor(scores, dtype=torch.float32)[None]
    machine = fullsum.batched(fullsum.stack([acceptor], 12), torch.device("cpu"))
    found, posterior = fullsum.posteriors(tensor, machine)
    assert found.item() == pytest.approx(total, abs=1e-4)
    np.testing.assert_allclose(posterior[0].numpy(), seen, atol=1e-5)


@pytest.mark.parametrize("chains", [1, 4])
def test_a_transcript_is_never_likelier_than_all_that_could_be_said(chains: int) -> None:
    outputs = len(units.UNITS) - sum(len(chain) for chain in units.UNK_CHAINS[chains:])
    scores = 3 * torch.randn(3, 40, outputs, generator=torch.Generator().manual_seed(1))
    loop = fullsum.shared(fullsum.loop_acceptor(chains), torch.device("cpu"))
    rows = [("forty", "two"), (units.UNK, "seven"), ("[noise]",)]
    said = fullsum.stack([objective.transcript(row, chains) for row in rows])
    path, target = fullsum.posteriors(scores, fullsum.batched(said, torch.device("cpu")))
    rivals, competing = fullsum.posteriors(scores, loop)
    assert bool((path <= rivals + 1e-3).all())
    torch.testing.assert_close(target.sum(dim=2), torch.ones(3, 40))
    torch.testing.assert_close(competing.sum(dim=2), torch.ones(3, 40))


def test_a_transcript_too_long_for_its_utterance_has_no_posterior() -> None:
    said = fullsum.stack([objective.transcript(("seventy", "seven"), 4)])
    _, target = fullsum.posteriors(
        torch.zeros(1, 5, len(units.UNITS)), fullsum.batched(said, torch.device("cpu"))
    )
    assert target.sum().item() == 0


def test_the_first_guess_shares_the_loud_span_evenly() -> None:
    loudness = torch.full((2, 10), -50.0)
    loudness[0, 2:8] = 0.0
    said = torch.tensor([[5, 6, 7], [0, 0, 0]])
    target = objective.linear_targets(loudness, said, torch.tensor([3, 0]), 9)
    assert target.argmax(dim=2).tolist() == [[0, 0, 5, 5, 6, 6, 7, 7, 0, 0], [0] * 10]


def test_batches_have_the_sizes_that_steps_are_recorded_for() -> None:
    source = objective.batches(tiny(), 8, 4, 1, 0)
    for _ in range(6):
        batch = next(source)
        assert batch.size in objective.sizes(8)
        assert batch.plan.position.shape == (batch.size.count, batch.size.frames)
        assert batch.said.pdf.shape == batch.units.shape == (batch.size.count, batch.size.states)
        assert len(batch.plan.words) == batch.size.count


def test_every_utterance_comes_as_often_as_its_share_says() -> None:
    sampler = Sampler(tiny(), np.random.default_rng(1))
    items = [sampler.item() for _ in range(4000)]
    assert sum(not item for item in items) / 4000 == pytest.approx(0.03, abs=0.012)
    assert sum(len(item) == 1 for item in items) / 4000 == pytest.approx(0.74, abs=0.03)


def test_no_digit_leads_however_many_clips_say_it() -> None:
    said = [("eight",)] * 90 + [("two",)] * 10
    clips = [Clip("", w, f"commands-{i}", "c", "number", "train") for i, w in enumerate(said)]
    waves = [np.full(8000, 9000, dtype=np.int16) for _ in clips]
    sampler = Sampler(Store.build(clips, waves, torch.device("cpu")), np.random.default_rng(2))
    drawn = [sampler.clips[sampler.draw("number")].words[0] for _ in range(2000)]
    assert drawn.count("two") / 2000 == pytest.approx(0.5, abs=0.04)


def test_a_ten_and_a_digit_become_one_number_with_hardly_a_gap() -> None:
    clips = [
        Clip("", ("forty",), "a", "x", "number", "train"),
        Clip("", ("two",), "b", "x", "number", "train"),
    ]
    waves = [np.full(8000, 9000, dtype=np.int16) for _ in clips]
    planner = Planner(Store.build(clips, waves, torch.device("cpu")), 1, strength=0.0)
    plan = planner.plan([[0, 1]] * 200 + [[1, 0]] * 200, 240)
    assert plan.words[0] == ("forty", "two")
    gaps = [_longest_gap(row) for row in (plan.position >= 0).numpy()]
    assert np.mean(gaps[:200]) < 4 < 8 < np.mean(gaps[200:])


def _longest_gap(sounds: np.ndarray) -> int:
    first, last = np.flatnonzero(sounds)[[0, -1]]
    return int((~sounds[first:last]).sum())


def test_features_are_finite_and_silent_where_nothing_is_said() -> None:
    store = tiny()
    torch.manual_seed(1)
    items = [[i] for i in range(16)] + [[]] * 4
    plan = Planner(store, 1).plan(items, 84, [Tempo()] * len(items))
    renderer = Renderer(store, torch.device("cpu"))
    log_mel, loudness = renderer.render(plan.position, plan.low, plan.high, plan.throat)
    assert log_mel.shape == (20, 84, 40)
    assert bool(log_mel.isfinite().all())
    assert bool((loudness[16:] == -50).all())
    assert bool((loudness[:16].amax(dim=1) == 0).all())


def test_training_learns_in_every_phase_and_goes_on_from_a_checkpoint(tmp_path: Path) -> None:
    torch.manual_seed(3)
    store, device = tiny(), torch.device("cpu")
    network = Network(len(units.UNITS), SMALL)
    trainer = Trainer(network, Renderer(store, device), device, 1e-2)
    source = objective.batches(store, 8, 4, 1, 0)
    losses = {}
    for phase, steps in ((GUESS, 16), (ALIGN, 8), (MMI, 8)):
        trainer.set(1e-2, 0.9, 0.3)
        for step in range(steps):
            if phase == GUESS and step in (0, steps - 4):
                trainer.ce.zero_()
            trainer.train(next(source), phase, record=False)
            if phase == GUESS and step in (3, steps - 1):
                losses[step] = trainer.ce.item() / 4
    assert losses[15] < 0.8 * losses[3]
    assert trainer.mmi.isfinite()
    trainer.save(tmp_path, {"step": 32, "seconds": 1.5, "trained": 9})
    again = Trainer(Network(len(units.UNITS), SMALL), Renderer(store, device), device, 1e-2)
    assert again.resume(tmp_path) == {"step": 32, "seconds": 1.5, "trained": 9}
    for a, b in zip(network.parameters(), again.network.parameters(), strict=True):
        torch.testing.assert_close(a, b)
    for a, b in zip(trainer.average.parameters(), again.average.parameters(), strict=True):
        torch.testing.assert_close(a, b, atol=2e-3, rtol=2e-2)
    again.set(1e-3, 0.9, 0.3)
    again.train(next(source), MMI, record=False)
    assert again.mmi.isfinite()


def test_what_is_trained_comes_to_score_as_its_teacher_does() -> None:
    torch.manual_seed(4)
    store, device = tiny(), torch.device("cpu")
    teacher = Network(len(units.UNITS), SMALL).eval()
    with torch.no_grad():
        teacher.output.weight.mul_(20)
    network = Network(len(units.UNITS), SMALL)
    trainer = Trainer(network, Renderer(store, device), device, 1e-2, teacher)
    source = objective.batches(store, 8, 4, 1, 0)
    trainer.set(1e-2, 0.9, 0.3)
    gaps = []
    for _ in range(3):
        trainer.gap.zero_()
        for _ in range(5):
            trainer.train(next(source), MMI, record=False)
        gaps.append(trainer.gap.item() / 5)
    assert gaps[2] < 0.8 * gaps[0]


def test_the_worst_machine_voices_are_dropped_and_people_kept(tmp_path: Path) -> None:
    listing = tmp_path / "alignments.tsv"
    rows = ["clip\tspeaker\twords\tlog_probability\tstarts"]
    rows += [f"{i}\tespeak:f{i}\tone\t{-float(i)}\t3" for i in range(10)]
    rows += ["10\tfsdd-theo\tone\t-90.0\t3", "11\tnumbers_woman\tone\t-90.0\t3"]
    listing.write_text("\n".join(rows))
    assert doubted(listing, -4.0, 0.25) == {7, 8, 9}
    assert doubted(listing, -8.0, 0.25) == {9}


def test_made_sounds_are_other_speech_of_every_kind() -> None:
    clips, waves = sounds.clips(21, 5)
    assert {clip.speaker for clip in clips} == {f"made-{k.__name__}" for k in sounds.KINDS}
    assert all(clip.words == (units.UNK,) for clip in clips)
    assert all(np.abs(wave).max() > 20_000 and len(wave) > 500 for wave in waves)
    again, same = sounds.clips(21, 5)
    assert again == clips
    assert all(np.array_equal(a, b) for a, b in zip(waves, same, strict=True))


def test_what_is_resampled_is_faster_and_higher_by_as_much() -> None:
    time = np.arange(16_000) / features.SAMPLE_RATE
    wave = (8000 * np.sin(2 * np.pi * 1000 * time)).astype(np.int16)
    clip = Clip("", ("one",), "somebody", "test", "number", "train")
    store = Store.build([clip], [wave], torch.device("cpu"))
    tempo = Tempo(1.3, resampled=True)
    plan = Planner(store, 1, strength=0.0).plan([[0]], 170, [tempo])
    sounding = int((plan.position[0] >= 0).sum())
    assert sounding == pytest.approx(100 / 1.3, abs=2)
    renderer = Renderer(store, torch.device("cpu"))
    renderer.share.zero_()
    log_mel, loudness = renderer.render(plan.position, plan.low, plan.high, plan.throat)
    band = int(log_mel[0, loudness[0].argmax()].argmax())
    centre = (features.mel_filters()[:, band] * np.arange(features.NUM_BINS)).sum()
    centre /= features.mel_filters()[:, band].sum()
    assert centre * features.SAMPLE_RATE / 512 == pytest.approx(1300, abs=120)
