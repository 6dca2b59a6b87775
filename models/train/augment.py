"""Batches of augmented features, made on the fly on the training device.

Everything that can be is done on power spectra, where a change of tempo is a change of frame
shift, a child's longer formants and higher pitch are stretches of the spectral envelope and of the
harmonics below it, and rooms, microphones and noises are a few multiplications and sums:

* tempo 0.75-1.35; pitch x0.8-2.2; formants x0.85-1.4 (drawn together, so children are frequent)
* microphones: a smooth random equaliser, high-pass, low-pass, telephone band, clipping, mu-law
* rooms: exponential decays of 0.1-0.8 s
* noises: coloured, babble of other clips of the batch, clatter, gated bursts, tones; SNR -2..40 dB
* level -36..0 dB; digital silence or noise before and after; starts and ends cut off
* clips joined: other speech before, between and after numbers; digit strings
* masks over time and frequency
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import torch
import units
from corpus import Clip
from features import (
    ENERGY_FLOOR,
    FRAME_LENGTH,
    FRAME_SHIFT,
    NUM_BINS,
    NUM_MEL,
    SAMPLE_RATE,
    mel_filters,
    power_spectrum,
)


@dataclass(frozen=True)
class Store:
    """All clips in one tensor. ``wave`` int16 on the device; the rest describes clip i."""

    wave: torch.Tensor
    start: np.ndarray
    length: np.ndarray
    clips: Sequence[Clip]

    @staticmethod
    def build(clips: Sequence[Clip], waves: Sequence[np.ndarray], device: torch.device) -> Store:
        length = np.array([len(w) for w in waves])
        margin = np.zeros(4 * FRAME_LENGTH, dtype=np.int16)
        start = np.concatenate([[0], np.cumsum(length)[:-1]]) + len(margin)
        flat = np.concatenate([margin, *waves, margin])
        return Store(torch.as_tensor(flat, device=device), start, length, clips)


class Sampler:
    """Draws the clips of a batch: what is said, by whom, in which order."""

    def __init__(self, store: Store, human_share: float, rng: np.random.Generator) -> None:
        self.store = store
        self.rng = rng
        self.human_share = human_share
        groups: dict[tuple[str, bool], list[int]] = {}
        for i, clip in enumerate(store.clips):
            human = clip.source in (
                "fsdd",
                "digits_in",
                "numbers_woman",
                "librispeech",
                "asterisk",
                "spokennumbers",
                "toys",
            )
            kind = clip.kind
            if kind in ("number", "phrase", "hesitation") and clip.words == (units.UNK,):
                kind = "other"
            if kind not in ("other", "noise"):
                kind = "number" if len(clip.words) == 1 else "phrase"
            groups.setdefault((kind, human), []).append(i)
        self.pools: dict[tuple[str, bool], tuple[np.ndarray, np.ndarray]] = {}
        for key, members in groups.items():
            # many clips of one speaker or of one word count like the square root of their number,
            # so that rare speakers and rare words are heard often
            speakers = [store.clips[i].speaker for i in members]
            words = [store.clips[i].words for i in members]
            by_speaker = {s: speakers.count(s) for s in set(speakers)}
            by_words = {w: words.count(w) for w in set(words)} if key[0] == "number" else {}
            weight = np.array(
                [
                    by_speaker[s] ** -0.5 * by_words.get(w, 1) ** -0.5
                    for s, w in zip(speakers, words, strict=True)
                ]
            )
            self.pools[key] = (np.array(members), np.cumsum(weight / weight.sum()))
        self.digits = None

    def draw(self, kind: str) -> int:
        human = self.rng.random() < self.human_share
        pool = self.pools.get((kind, human)) or self.pools.get((kind, not human))
        if pool is None:
            return self.draw("number")
        members, cumulative = pool
        return int(members[min(np.searchsorted(cumulative, self.rng.random()), len(members) - 1)])

    def item(self) -> list[int]:
        """Clips of one utterance, in order (possibly none: noise alone)."""
        u = self.rng.random()
        if u < 0.42:
            return [self.draw("number")]
        if u < 0.58:
            return [self.draw("phrase")]
        if u < 0.77:
            return [self.draw("other")]
        if u < 0.82:
            return [self.draw("noise")] if ("noise", False) in self.pools else []
        if u < 0.88:
            return [self.draw("other"), self.draw("number")]
        if u < 0.91:
            return [self.draw("number"), self.draw("other"), self.draw("number")]
        if u < 0.93:
            return [self.draw("number"), self.draw("other")]
        if u < 0.96:
            return [self.draw("other"), self.draw("other")]
        return [self.draw("number") for _ in range(self.rng.integers(2, 4))]


@dataclass(frozen=True)
class Plan:
    """Where each frame of a batch is read: sample positions, (B, T) int64, -1 for no clip.

    Only the samples from ``low`` up to ``high`` belong to the frame's clip.
    """

    position: torch.Tensor
    low: torch.Tensor
    high: torch.Tensor
    words: list[tuple[str, ...]]


class Planner:
    """Places clips on the frames of a batch: tempo, gaps, cut edges (numpy only)."""

    def __init__(self, store: Store, seed: int, strength: float = 1.0) -> None:
        self.store = store
        self.strength = strength
        self.rng = np.random.default_rng(seed)

    def rate(self) -> float:
        """How much faster than recorded an utterance is heard."""
        return math.exp(self.rng.uniform(-0.28, 0.3) * self.strength)

    def plan(
        self, items: list[list[int]], frames: int, rates: Sequence[float] | None = None
    ) -> Plan:
        """``items`` that do not fit ``frames`` lose whole clips from the end."""
        rng, strength, store = self.rng, self.strength, self.store
        shape = (len(items), frames)
        position = np.full(shape, -1, dtype=np.int64)
        low, high = np.zeros(shape, dtype=np.int64), np.zeros(shape, dtype=np.int64)
        words: list[tuple[str, ...]] = []
        for b, item in enumerate(items):
            rate = rates[b] if rates else self.rate()
            placed: list[tuple[int, int, int, float]] = []  # clip, gap, frames, samples skipped
            used = 0
            for k, i in enumerate(item):
                whole = float(store.length[i])
                keep, cut = whole, 0.0
                # long other speech is heard in part; any clip may lose its edges
                limit = max(frames - 12, 12) * FRAME_SHIFT * rate / len(item)
                if store.clips[i].words == (units.UNK,) and keep > limit:
                    keep = limit * rng.uniform(0.6, 1.0)
                    cut = rng.uniform(0, whole - keep)
                elif rng.random() < 0.12 * strength:
                    cut = rng.uniform(0, min(0.1 * SAMPLE_RATE, 0.12 * whole))
                    keep -= cut + rng.uniform(0, min(0.06 * SAMPLE_RATE, 0.08 * whole))
                needed = max(3, int(keep / rate / FRAME_SHIFT))
                gap = int(rng.exponential(12)) if k else 0
                if used + needed + gap > frames:
                    break
                placed.append((i, gap, needed, cut))
                used += needed + gap
            here = int((frames - used) * rng.beta(0.8, 1.2))
            said: list[str] = []
            for i, gap, needed, cut in placed:
                here += gap
                span = slice(here, here + needed)
                steps = cut + np.arange(needed) * FRAME_SHIFT * rate
                start = store.start[i]
                position[b, span] = start + steps.astype(np.int64) - FRAME_LENGTH // 4
                low[b, span] = start + int(cut)
                high[b, span] = start + store.length[i]
                here += needed
                for word in store.clips[i].words:
                    if not (word == units.UNK and said[-1:] == [units.UNK]):
                        said.append(word)
            words.append(tuple(said))
        return Plan(*(torch.from_numpy(x) for x in (position, low, high)), words)


def _interpolate(x: torch.Tensor, position: torch.Tensor) -> torch.Tensor:
    """x (B, T, F) read at fractional bins position (B, F)."""
    low = position.floor().clamp(0, NUM_BINS - 2)
    part = (position - low).clamp(0, 1)[:, None, :]
    index = low.long()[:, None, :].expand(-1, x.shape[1], -1)
    return x.gather(2, index) * (1 - part) + x.gather(2, index + 1) * part


def _uniform(gen: torch.Generator, shape: tuple[int, ...], low: float, high: float) -> torch.Tensor:
    return torch.rand(shape, generator=gen, device=gen.device) * (high - low) + low


def _chance(gen: torch.Generator, count: int, p: float) -> torch.Tensor:
    return torch.rand(count, generator=gen, device=gen.device) < p


class Renderer:
    """Turns plans into log-mel features on the device."""

    def __init__(
        self, store: Store, device: torch.device, seed: int, strength: float = 1.0
    ) -> None:
        self.wave = store.wave
        self.device = device
        self.strength = strength
        self.gen = torch.Generator(device=device).manual_seed(seed)
        self.filters = torch.as_tensor(mel_filters(), device=device)

    @torch.no_grad()
    def render(self, plan: Plan) -> tuple[torch.Tensor, torch.Tensor]:
        """Log-mel (B, T, NUM_MEL), and the voice's own loudness (B, T) in nepers under its peak."""
        power, active = self._spectra(plan)
        mel = self._microphone(power)
        total = mel.sum(dim=2) * active
        loudness = (total + 1e-9).log()
        loudness = loudness - loudness.amax(dim=1, keepdim=True)
        return self._noise_and_masks(mel, active), torch.where(active, loudness, -50.0)

    @torch.no_grad()
    def plain(self, plan: Plan) -> torch.Tensor:
        """Log-mel of the clips as they are, over a faint floor."""
        power, _ = self._spectra(plan, plain=True)
        return (power @ self.filters + 50.0).log()

    def _spectra(self, plan: Plan, plain: bool = False) -> tuple[torch.Tensor, torch.Tensor]:
        """Power spectra (B, T, NUM_BINS) of the placed clips and where they sound (B, T)."""
        device, gen, count = self.device, self.gen, len(plan.position)
        positions = plan.position.to(device, non_blocking=True)
        active = positions >= 0
        index = positions[..., None] + torch.arange(FRAME_LENGTH, device=device)
        lows = plan.low.to(device, non_blocking=True)[..., None]
        highs = plan.high.to(device, non_blocking=True)[..., None]
        inside = (index >= lows) & (index < highs)
        samples = self.wave[index.clamp(0, len(self.wave) - 1)].float()
        samples = torch.where(inside, samples, torch.zeros((), device=device))
        if plain:
            return power_spectrum(samples), active
        # overdriven microphones and 8-bit telephone lines act on the wave itself
        clipped = _chance(gen, count, 0.07 * self.strength)
        ceiling = 10 ** _uniform(gen, (count,), 2.9, 4.2)
        ceiling = torch.where(clipped, ceiling, torch.full_like(ceiling, 4e4))[:, None, None]
        samples = torch.minimum(torch.maximum(samples, -ceiling), ceiling)
        coded = _chance(gen, count, 0.08 * self.strength)[:, None, None]
        scaled = samples / 32768
        law = torch.sign(scaled) * torch.log1p(255 * scaled.abs()) / math.log(256)
        law = torch.round(law * 127) / 127
        law = torch.sign(law) * (torch.exp(law.abs() * math.log(256)) - 1) / 255 * 32768
        samples = torch.where(coded, law, samples)
        power = power_spectrum(samples)
        return self._voice(power, active), active

    def _voice(self, power: torch.Tensor, active: torch.Tensor) -> torch.Tensor:
        """Other throats: stretches the envelope (formants) and the harmonics (pitch) apart."""
        gen, count = self.gen, len(power)
        child = _chance(gen, count, 0.3)
        plain = _chance(gen, count, 0.15)
        formant = torch.exp(_uniform(gen, (count,), -0.14, 0.16) * self.strength)
        formant = torch.where(child, torch.exp(_uniform(gen, (count,), 0.1, 0.34)), formant)
        pitch = torch.exp(_uniform(gen, (count,), -0.22, 0.35) * self.strength)
        pitch = torch.where(child, torch.exp(_uniform(gen, (count,), 0.1, 0.75)), pitch)
        one = torch.ones_like(formant)
        formant, pitch = torch.where(plain, one, formant), torch.where(plain, one, pitch)
        log_power = (power + 1.0).log()
        cepstrum = torch.fft.irfft(log_power, dim=-1)
        quefrency = torch.arange(cepstrum.shape[-1], device=self.device)
        quefrency = torch.minimum(quefrency, cepstrum.shape[-1] - quefrency)
        cutoff = 34.0  # samples, above the formants' ripple and under a child's pitch period
        lifter = torch.sigmoid((cutoff - quefrency) / 3.0)
        envelope = torch.fft.rfft(cepstrum * lifter, dim=-1).real
        fine = log_power - envelope
        bins = torch.arange(NUM_BINS, device=self.device, dtype=torch.float32)[None]
        formant, pitch = formant[:, None], pitch[:, None]
        moved = _interpolate(envelope, bins / formant)
        above = (bins / formant > NUM_BINS - 1)[:, None, :]
        moved = moved - above * 6.0
        # harmonics beyond the top repeat the upper half, which is noise-like
        at = bins / pitch
        at = torch.where(at > NUM_BINS - 1, 2 * (NUM_BINS - 1) - at, at)
        fine = _interpolate(fine, at)
        return ((moved + fine).exp() - 1.0).clamp_min(0.0) * active[..., None]

    def _microphone(self, power: torch.Tensor) -> torch.Tensor:
        """Equaliser, band limits, room; then level. Returns mel energies (B, T, NUM_MEL)."""
        gen, device, strength = self.gen, self.device, self.strength
        count = len(power)
        hertz = torch.arange(NUM_BINS, device=device) * SAMPLE_RATE / 512
        place = (hertz / 700).log1p() / math.log1p(8000 / 700)
        gain = torch.zeros(count, NUM_BINS, device=device)
        for wave in (0.5, 1, 1.5, 2, 3, 4, 6):
            depth = torch.randn(count, 1, generator=gen, device=device) * 3.0 * strength / wave**0.5
            phase = _uniform(gen, (count, 1), 0, 2 * math.pi)
            gain += depth * torch.cos(2 * math.pi * wave * place + phase)
        flat = _chance(gen, count, 0.1)[:, None]
        gain = torch.where(flat, torch.zeros_like(gain), gain)
        octave = (hertz.clamp_min(15.6) / 1000).log2()
        high_pass = torch.exp(_uniform(gen, (count, 1), math.log(60), math.log(400)))
        order = _uniform(gen, (count, 1), 6, 24) * _chance(gen, count, 0.5)[:, None]
        gain = gain - order * ((high_pass / 1000).log2() - octave).clamp_min(0)
        low_pass = torch.exp(_uniform(gen, (count, 1), math.log(2800), math.log(7500)))
        order = _uniform(gen, (count, 1), 12, 90) * _chance(gen, count, 0.35 * strength)[:, None]
        gain = gain - order * (octave - (low_pass / 1000).log2()).clamp_min(0)
        phone = _chance(gen, count, 0.08 * strength)[:, None]
        outside = (octave - math.log2(3.4)).clamp_min(0) + (math.log2(0.3) - octave).clamp_min(0)
        gain = torch.where(phone, gain - 60 * outside, gain)
        energies = (power * torch.exp(gain[:, None] * (math.log(10) / 10))) @ self.filters

        room = _chance(gen, count, 0.5 * strength)
        length = 48
        decay = torch.exp(_uniform(gen, (count, 1), math.log(0.1), math.log(0.9)))
        steps = torch.arange(1, length, device=device) * (FRAME_SHIFT / SAMPLE_RATE)
        tail = torch.pow(10.0, -6 * steps / decay)
        tail = tail * torch.empty_like(tail).exponential_(generator=gen)
        share = torch.pow(10.0, _uniform(gen, (count, 1), -1.8, 0.1)) * room[:, None]
        tail = share * tail / tail.sum(dim=1, keepdim=True).clamp_min(1e-9)
        kernel = torch.cat([tail.flip(1), torch.ones(count, 1, device=device)], dim=1)
        padded = torch.nn.functional.pad(energies.transpose(1, 2), (length - 1, 0))
        windows = padded.unfold(2, length, 1)  # (B, NUM_MEL, T, length)
        energies = torch.einsum("bmtk,bk->btm", windows, kernel)

        total = energies.sum(dim=2)
        loud = total.amax(dim=1, keepdim=True).clamp_min(1.0)
        # the loudest frame of a full-scale voice has a mel energy near e^24
        level = _uniform(gen, (count, 1), -36, 2) * (math.log(10) / 10)
        return energies * torch.exp(23.5 + level - loud.log())[..., None]

    def _noise_and_masks(self, mel: torch.Tensor, active: torch.Tensor) -> torch.Tensor:
        gen, device, strength = self.gen, self.device, self.strength
        count, frames, _ = mel.shape
        total = mel.sum(dim=2)
        loud = torch.where(active, total, torch.zeros_like(total)).amax(dim=1)
        empty = loud <= 0
        reference = torch.where(
            empty, torch.exp(_uniform(gen, (count,), 14, 23)), loud.clamp_min(1e-3) * 0.4
        )

        def colour() -> torch.Tensor:
            band = torch.linspace(0, 1, NUM_MEL, device=device)
            tilt = torch.randn(count, 1, generator=gen, device=device) * 4.0 - 2.0
            curve = tilt * band
            for wave in (1, 2, 4):
                depth = torch.randn(count, 1, generator=gen, device=device) * 0.8
                curve = curve + depth * torch.cos(
                    2 * math.pi * wave * band + _uniform(gen, (count, 1), 0, 6.28)
                )
            return torch.softmax(curve, dim=1)[:, None]

        def scaled(noise: torch.Tensor, snr_db: torch.Tensor) -> torch.Tensor:
            mean = noise.sum(dim=2).mean(dim=1).clamp_min(1e-6)
            factor = reference / mean * torch.pow(10.0, -snr_db / 10)
            return noise * factor[:, None, None]

        shape = (count, frames, NUM_MEL)
        grain = torch.empty(shape, device=device).exponential_(generator=gen)
        grain = 0.5 * grain + 0.5  # a band sums several bins
        steady = grain * colour()
        out = (
            mel
            + scaled(steady, _uniform(gen, (count,), 22 - 20 * strength, 45))
            * _chance(gen, count, 0.8)[:, None, None]
        )

        # babble: other clips of this batch, several at once
        babble = torch.zeros_like(mel)
        normal = mel / total.amax(dim=1).clamp_min(1e-3)[:, None, None]
        for _ in range(5):
            other = torch.randperm(count, generator=gen, device=device)
            shift = int(torch.randint(frames, (1,), generator=gen, device=device))
            babble += normal[other].roll(shift, dims=1) * _uniform(gen, (count, 1, 1), 0.1, 1)
        snr = _uniform(gen, (count,), 3, 28)
        out = (
            out
            + scaled(babble, snr) * (_chance(gen, count, 0.22 * strength) & ~empty)[:, None, None]
        )

        # gated bursts, clatter and steady tones
        gate = _uniform(gen, (count, frames // 4 + 2), 0, 1) < _uniform(gen, (count, 1), 0.05, 0.6)
        gate = gate.float().repeat_interleave(4, dim=1)[:, :frames]
        out = (
            out
            + scaled(grain * colour() * gate[..., None], _uniform(gen, (count,), -2, 25))
            * _chance(gen, count, 0.10 * strength)[:, None, None]
        )
        hit = (torch.rand(count, frames, generator=gen, device=device) < 0.02).float()
        clatter = torch.zeros_like(hit)
        for delay in range(8):
            clatter[:, delay:] += hit[:, : frames - delay] * math.exp(-delay * 0.6)
        out = (
            out
            + scaled(grain * colour() * clatter[..., None], _uniform(gen, (count,), 0, 25))
            * _chance(gen, count, 0.08 * strength)[:, None, None]
        )
        notes = torch.zeros(count, frames, NUM_MEL, device=device)
        for _ in range(4):
            shape_of_notes = (count, frames // 16 + 1)
            band = torch.randint(3, NUM_MEL - 2, shape_of_notes, generator=gen, device=device)
            band = band.repeat_interleave(16, dim=1)[:, :frames]
            notes.scatter_(2, band[..., None], 1.0)
        out = (
            out
            + scaled(notes + 1e-3 * grain, _uniform(gen, (count,), 2, 25))
            * _chance(gen, count, 0.06 * strength)[:, None, None]
        )

        # the recorder's own floor, and sometimes true digital silence
        floor = torch.exp(_uniform(gen, (count, 1, 1), 0.0, 11.0)) * grain * colour() * NUM_MEL
        digital = _chance(gen, count, 0.15)[:, None, None]
        out = torch.where(digital, mel, out + floor)
        log_mel = out.clamp_min(ENERGY_FLOOR).log()
        # 16-bit rounding noise hides what is far below one step, except in true silence
        rounding = torch.full_like(log_mel, math.log(20.0)) + grain.log()
        silent = out <= ENERGY_FLOOR * 2
        log_mel = torch.where(silent, log_mel, torch.logaddexp(log_mel, rounding))

        band = torch.arange(NUM_MEL, device=device)[None]
        for p, widest in ((0.25, 7), (0.15, 5)):
            first = _uniform(gen, (count, 1), 0, NUM_MEL)
            width = _uniform(gen, (count, 1), 0, widest)
            hide = (band >= first) & (band < first + width)
            hide &= _chance(gen, count, p * strength)[:, None]
            mean = log_mel.mean(dim=(1, 2), keepdim=True)
            log_mel = torch.where(hide[:, None], mean, log_mel)
        time = torch.arange(frames, device=device)[None]
        first = _uniform(gen, (count, 1), 0, frames)
        hide = (time >= first) & (time < first + _uniform(gen, (count, 1), 0, 6))
        hide &= _chance(gen, count, 0.2 * strength)[:, None]
        return torch.where(hide[..., None], log_mel.mean(dim=(1, 2), keepdim=True), log_mel)


def main() -> None:
    """Draws some augmented utterances, to look at what training hears."""
    import argparse
    import os
    from pathlib import Path

    import corpus
    import matplotlib.pyplot as plt

    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--pack", type=Path, nargs="+", required=True)
    parser.add_argument("--out", type=Path, required=True, help="a PNG")
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    clips, waves = corpus.unpack(args.pack, os.cpu_count() or 1)
    device = torch.device("cpu")
    store = Store.build(clips, waves, device)
    sampler = Sampler(store, 0.35, np.random.default_rng(args.seed))
    plan = Planner(store, args.seed).plan([sampler.item() for _ in range(20)], 165)
    log_mel, _ = Renderer(store, device, args.seed).render(plan)
    figure, axes = plt.subplots(5, 4, figsize=(18, 12), layout="tight")
    for axis, rows, words in zip(axes.flat, log_mel, plan.words, strict=True):
        axis.imshow(rows.T, origin="lower", aspect="auto", vmin=-2, vmax=24)
        axis.set_title(" ".join(words) or "(noise)")
    figure.savefig(args.out, dpi=60)


if __name__ == "__main__":
    main()
