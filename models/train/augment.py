"""Batches of augmented features, made on the fly on the training device.

Everything that can be is done on power spectra, where a change of tempo is a change of frame
shift, a child's longer formants and higher pitch are stretches of the spectral envelope and of the
harmonics below it, and rooms, microphones and noises are a few multiplications and sums:

* tempo 0.75-1.35; pitch x0.8-2.05; formants x0.85-1.38 (drawn together: two in five are children)
* one in ten resampled: tempo, pitch and formants up 10-40 % together
* microphones: a smooth random equaliser, high-pass, low-pass, telephone band, clipping, mu-law
* rooms: exponential decays of 0.1-0.8 s
* noises: coloured, one to six other voices, clatter, gated bursts, tones; SNR -2..40 dB
* level -36..0 dB; digital silence or noise before and after; starts and ends cut off
* clips joined: other speech before, between and after numbers; digit strings
* masks over time and frequency

How strong all this is differs from one utterance to the next (``STRENGTHS``). No step waits for the
device or depends on a value there, so a whole training step can be recorded once and replayed.
"""

from __future__ import annotations

import math
from collections import Counter
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
    """All clips in one tensor. ``wave`` int16 on the device; the rest describes clip i.

    ``chain``: the chain of units that other speech is first guessed to follow.
    """

    wave: torch.Tensor
    start: np.ndarray
    length: np.ndarray
    chain: np.ndarray
    clips: Sequence[Clip]

    @staticmethod
    def build(clips: Sequence[Clip], waves: Sequence[np.ndarray], device: torch.device) -> Store:
        length = np.array([len(w) for w in waves])
        margin = np.zeros(4 * FRAME_LENGTH, dtype=np.int16)
        start = np.concatenate([[0], np.cumsum(length)[:-1]]) + len(margin)
        flat = np.concatenate([margin, *waves, margin])
        bright = np.array([_crossings(w) for w in waves])
        order = np.argsort(np.argsort(bright)) * 2 // max(1, len(waves))
        chain = order + 2 * (length > np.median(length))
        return Store(torch.as_tensor(flat, device=device), start, length, chain, clips)


def _crossings(wave: np.ndarray) -> float:
    """How often the loud part of a wave changes its sign: speech with much /s/ does often."""
    loud = np.abs(wave) > 1000
    return (
        float(np.mean((wave[1:] >= 0) != (wave[:-1] >= 0), where=loud[1:]))
        if loud[1:].any()
        else 0.0
    )


#: how often each single number word is drawn, of all; the digits are what people say most
SINGLE_SHARES: dict[str, float] = {
    **dict.fromkeys(units.DIGITS, 1.0),
    **dict.fromkeys((*units.TEENS, *units.TENS), 0.9),
    **dict.fromkeys(("oh", "nought"), 0.4),
    **dict.fromkeys(("hundred", "thousand", "minus", "a", "and"), 0.15),
}
#: who says the digits, the other number words, phrases, and what is not a number
GROUP_SHARES: dict[str, dict[str, float]] = {
    "digit": {"people": 0.72, "machine": 0.28},
    "word": {"people": 0.20, "spliced": 0.08, "machine": 0.72},
    "phrase": {"people": 0.25, "machine": 0.75},
    "other": {"people": 0.6, "machine": 0.4},
    "sound": {"machine": 1.0},
    "noise": {"machine": 1.0},
}
#: many clips of one speaker or other word, and many speakers of one source, count like this power
#: of their number
EVENED = 0.5
#: sources whose speakers count more often than their number says: their accents are rare
HEAVIER = {"duke_digits": 2.0}

Pool = tuple[np.ndarray, np.ndarray]


class Sampler:
    """Draws the clips of a batch: what is said, by whom, in which order.

    Single numbers are drawn by their word, so that no word leads; then a clip is drawn so that
    rare speakers, sources and other words are heard more often than their share.
    """

    def __init__(self, store: Store, rng: np.random.Generator) -> None:
        self.clips = store.clips
        self.rng = rng
        members: dict[tuple[str, str], list[int]] = {}
        for i, clip in enumerate(store.clips):
            members.setdefault((_pool(clip), clip.group), []).append(i)
        self.pools = {key: self._weighted(rows) for key, rows in members.items()}
        self.words = [w for w in SINGLE_SHARES if any(name == w for name, _ in self.pools)]
        shares = np.array([SINGLE_SHARES[word] for word in self.words])
        self.word_ends = np.cumsum(shares / shares.sum())

    def _weighted(self, members: list[int]) -> Pool:
        clips = [self.clips[i] for i in members]
        weight = np.ones(len(clips))
        for said in ([c.speaker for c in clips], [c.text for c in clips]):
            count = Counter(said)
            weight *= np.array([count[x] for x in said], float) ** -EVENED
        total: Counter[str] = Counter()
        for clip, w in zip(clips, weight, strict=True):
            total[clip.source] += w
        voices = Counter(source for source, _ in {(c.source, c.speaker) for c in clips})
        share = {s: HEAVIER.get(s, 1.0) * voices[s] ** EVENED / total[s] for s in total}
        weight *= np.array([share[c.source] for c in clips])
        return np.array(members), np.cumsum(weight / weight.sum())

    def _pick(self, ends: np.ndarray) -> int:
        return min(int(np.searchsorted(ends, self.rng.random())), len(ends) - 1)

    def draw(self, kind: str) -> int:
        """A clip of a kind: number, tens, digit, phrase, other, sound or noise."""
        if kind == "number":
            return self._of(self.words[self._pick(self.word_ends)])
        if kind == "tens":
            return self._of(units.TENS[self.rng.integers(len(units.TENS))])
        if kind == "digit":
            return self._of(units.DIGITS[self.rng.integers(1, 10)])
        return self._of(kind)

    def _of(self, name: str) -> int:
        kind = "digit" if name in units.DIGITS else "word" if name in SINGLE_SHARES else name
        shares = GROUP_SHARES[kind]
        there = [group for group in shares if (name, group) in self.pools]
        if not there:
            return self.draw("number")
        ends = np.cumsum([shares[group] for group in there])
        members, cumulative = self.pools[name, there[self._pick(ends / ends[-1])]]
        return int(members[self._pick(cumulative)])

    def item(self) -> list[int]:
        """Clips of one utterance, in order (possibly none: noise alone)."""
        share = self.rng.random()
        for kinds, part in ITEMS:
            share -= part
            if share < 0:
                return [self.draw(kind) for kind in kinds]
        return []


def _pool(clip: Clip) -> str:
    """The pool that a clip is drawn from: its word if it is a single number word."""
    if clip.kind in ("noise", "sound"):
        return clip.kind
    if clip.words == (units.UNK,):
        return "other"
    return clip.words[0] if len(clip.words) == 1 else "phrase"


#: what an utterance is made of, and how often; what is left over is noise alone
ITEMS: tuple[tuple[tuple[str, ...], float], ...] = (
    (("number",), 0.31),
    (("tens", "digit"), 0.09),
    (("phrase",), 0.12),
    (("other",), 0.27),
    (("sound",), 0.02),
    (("other", "number"), 0.04),
    (("sound", "number"), 0.02),
    (("number", "other", "number"), 0.02),
    (("number", "other"), 0.02),
    (("number", "sound"), 0.01),
    (("other", "other"), 0.03),
    (("number", "number"), 0.02),
    (("number", "number", "number"), 0.01),
)
#: seconds cut off either side of the joint where a ten and a digit become one number
JOINED_S = 0.06
#: utterances that are heard resampled, and by how much at least and at most
RESAMPLED, FASTER = 0.10, (1.10, 1.40)


@dataclass(frozen=True)
class Tempo:
    """How much faster than recorded an utterance is heard; ``resampled``: higher by as much."""

    rate: float = 1.0
    resampled: bool = False


@dataclass(frozen=True)
class Plan:
    """Where each frame of a batch is read: sample positions, (B, T) int64, -1 for no clip.

    Only the samples from ``low`` up to ``high`` belong to the frame's clip. ``throat`` (B,) is what
    pitch and formants are multiplied by, 0 where the renderer is to draw them. ``words`` are what
    each utterance says, and ``chains`` the store's for each word.
    """

    position: torch.Tensor
    low: torch.Tensor
    high: torch.Tensor
    throat: torch.Tensor
    words: list[tuple[str, ...]]
    chains: list[tuple[int, ...]]


class Planner:
    """Places clips on the frames of a batch: tempo, gaps, cut edges (numpy only)."""

    def __init__(self, store: Store, seed: int, strength: float = 1.0) -> None:
        self.store = store
        self.strength = strength
        self.rng = np.random.default_rng(seed)

    def tempo(self) -> Tempo:
        """How fast an utterance is heard."""
        if self.rng.random() < RESAMPLED * self.strength:
            return Tempo(self.rng.uniform(*FASTER), resampled=True)
        return Tempo(math.exp(self.rng.uniform(-0.28, 0.3) * self.strength))

    def _joins(self, item: list[int]) -> bool:
        """Whether an item is a ten and a digit, said as one number."""
        if len(item) != 2:
            return False
        first, second = (self.store.clips[i].words for i in item)
        return first[0] in units.TENS and len(first) == 1 and second[0] in units.DIGITS[1:]

    def plan(self, items: list[list[int]], frames: int, tempos: Sequence[Tempo] = ()) -> Plan:
        """``items`` that do not fit ``frames`` lose whole clips from the end."""
        rng, strength, store = self.rng, self.strength, self.store
        shape = (len(items), frames)
        position = np.full(shape, -1, dtype=np.int64)
        low, high = np.zeros(shape, dtype=np.int64), np.zeros(shape, dtype=np.int64)
        words: list[tuple[str, ...]] = []
        chains: list[tuple[int, ...]] = []
        tempos = tempos or [self.tempo() for _ in items]
        for b, item in enumerate(items):
            rate = tempos[b].rate
            placed: list[tuple[int, int, int, float]] = []  # clip, gap, frames, samples skipped
            used = 0
            whole_number = self._joins(item)
            for k, i in enumerate(item):
                whole = float(store.length[i])
                keep, cut = whole, 0.0
                # long other speech is heard in part; any clip may lose its edges
                limit = max(frames - 12, 12) * FRAME_SHIFT * rate / len(item)
                if whole_number:
                    keep = max(0.5 * whole, whole - JOINED_S * SAMPLE_RATE)
                    cut = (whole - keep) * (k == 1)
                elif store.clips[i].words == (units.UNK,) and keep > limit:
                    keep = limit * rng.uniform(0.6, 1.0)
                    cut = rng.uniform(0, whole - keep)
                elif rng.random() < 0.12 * strength:
                    cut = rng.uniform(0, min(0.1 * SAMPLE_RATE, 0.12 * whole))
                    keep -= cut + rng.uniform(0, min(0.06 * SAMPLE_RATE, 0.08 * whole))
                needed = max(3, int(keep / rate / FRAME_SHIFT))
                gap = int(rng.exponential(3 if whole_number else 12)) if k else 0
                if used + needed + gap > frames:
                    break
                placed.append((i, gap, needed, cut))
                used += needed + gap
            here = int((frames - used) * rng.beta(0.8, 1.2))
            said: list[str] = []
            follow: list[int] = []
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
                        follow.append(int(store.chain[i]))
            words.append(tuple(said))
            chains.append(tuple(follow))
        throat = np.array([t.rate * t.resampled for t in tempos], np.float32)
        return Plan(*(torch.from_numpy(x) for x in (position, low, high, throat)), words, chains)


def _interpolate(x: torch.Tensor, position: torch.Tensor) -> torch.Tensor:
    """x (B, T, F) read at fractional bins position (B, F)."""
    low = position.floor().clamp(0, NUM_BINS - 2)
    part = (position - low).clamp(0, 1)[:, None, :]
    index = low.long()[:, None, :].expand(-1, x.shape[1], -1)
    return x.gather(2, index) * (1 - part) + x.gather(2, index + 1) * part


def _uniform(
    like: torch.Tensor, low: float | torch.Tensor, high: float | torch.Tensor
) -> torch.Tensor:
    return torch.rand_like(like) * (high - low) + low


def _chance(like: torch.Tensor, p: float | torch.Tensor) -> torch.Tensor:
    return torch.rand_like(like) < p


#: of the augmentation: most answers are spoken plainly, some from the back of a full class
STRENGTHS = (0.3, 0.6, 1.0)


class Renderer:
    """Turns plans into log-mel features on the device, with its default random numbers."""

    def __init__(self, store: Store, device: torch.device) -> None:
        self.wave = store.wave
        self.device = device
        self.filters = torch.as_tensor(mel_filters(), device=device)
        self.samples = torch.arange(FRAME_LENGTH, device=device)
        self.bins = torch.arange(NUM_BINS, device=device, dtype=torch.float32)
        self.bands = torch.arange(NUM_MEL, device=device)
        self.strengths = torch.tensor(STRENGTHS, device=device)
        #: of all strengths; training begins with less
        self.share = torch.ones((), device=device)

    @torch.no_grad()
    def render(
        self, position: torch.Tensor, low: torch.Tensor, high: torch.Tensor, throat: torch.Tensor
    ) -> tuple[torch.Tensor, torch.Tensor]:
        """Log-mel (B, T, NUM_MEL), and the voice's own loudness (B, T) in nepers under its peak.

        ``position``, ``low``, ``high``, ``throat``: of a plan, on the device.
        """
        chosen = torch.randint(len(STRENGTHS), (len(position),), device=self.device)
        strength = self.strengths[chosen] * self.share
        samples, active = self._frames(position, low, high)
        power = power_spectrum(self._overdriven(samples, strength))
        mel = self._microphone(self._voice(power, active, strength, throat), strength)
        total = mel.sum(dim=2) * active
        loudness = (total + 1e-9).log()
        loudness = loudness - loudness.amax(dim=1, keepdim=True)
        return self._noise_and_masks(mel, active, strength), torch.where(active, loudness, -50.0)

    @torch.no_grad()
    def plain(self, plan: Plan) -> torch.Tensor:
        """Log-mel of the clips as they are, over a faint floor."""
        samples, _ = self._frames(
            *(x.to(self.device) for x in (plan.position, plan.low, plan.high))
        )
        return (power_spectrum(samples) @ self.filters + 50.0).log()

    def _frames(
        self, position: torch.Tensor, low: torch.Tensor, high: torch.Tensor
    ) -> tuple[torch.Tensor, torch.Tensor]:
        """Samples (B, T, FRAME_LENGTH) of the placed clips and where they sound (B, T)."""
        index = position[..., None] + self.samples
        inside = (index >= low[..., None]) & (index < high[..., None])
        samples = self.wave[index.clamp(0, len(self.wave) - 1)].float()
        return samples * inside, position >= 0

    def _overdriven(self, samples: torch.Tensor, strength: torch.Tensor) -> torch.Tensor:
        """Overdriven microphones and 8-bit telephone lines act on the wave itself."""
        ceiling = 10 ** _uniform(strength, 2.9, 4.2)
        clipped = _chance(strength, 0.07 * strength)
        ceiling = torch.where(clipped, ceiling, torch.full_like(ceiling, 4e4))[:, None, None]
        samples = torch.minimum(torch.maximum(samples, -ceiling), ceiling)
        coded = _chance(strength, 0.18 * strength)[:, None, None]
        scaled = samples / 32768
        law = torch.sign(scaled) * torch.log1p(255 * scaled.abs()) / math.log(256)
        law = torch.round(law * 127) / 127
        law = torch.sign(law) * (torch.exp(law.abs() * math.log(256)) - 1) / 255 * 32768
        return torch.where(coded, law, samples)

    def _voice(
        self, power: torch.Tensor, active: torch.Tensor, strength: torch.Tensor,
        throat: torch.Tensor,
    ) -> torch.Tensor:  # fmt: skip
        """Other throats: stretches the envelope (formants) and the harmonics (pitch) apart, or
        both by ``throat`` (B,) where that is not 0."""
        child = _chance(strength, 0.4)
        plain = _chance(strength, 0.15)
        formant = torch.exp(_uniform(strength, -0.14, 0.16) * strength)
        formant = torch.where(child, torch.exp(_uniform(strength, 0.12, 0.32)), formant)
        pitch = torch.exp(_uniform(strength, -0.22, 0.35) * strength)
        pitch = torch.where(child, torch.exp(_uniform(strength, 0.15, 0.72)), pitch)
        one = torch.ones_like(formant)
        formant, pitch = torch.where(plain, one, formant), torch.where(plain, one, pitch)
        given = throat > 0
        formant, pitch = torch.where(given, throat, formant), torch.where(given, throat, pitch)
        log_power = (power + 1.0).log()
        cepstrum = torch.fft.irfft(log_power, dim=-1)
        quefrency = torch.arange(cepstrum.shape[-1], device=self.device)
        quefrency = torch.minimum(quefrency, cepstrum.shape[-1] - quefrency)
        cutoff = 34.0  # samples, above the formants' ripple and under a child's pitch period
        lifter = torch.sigmoid((cutoff - quefrency) / 3.0)
        envelope = torch.fft.rfft(cepstrum * lifter, dim=-1).real
        fine = log_power - envelope
        formant, pitch = formant[:, None], pitch[:, None]
        moved = _interpolate(envelope, self.bins / formant)
        above = (self.bins / formant > NUM_BINS - 1)[:, None, :]
        moved = moved - above * 6.0
        # harmonics beyond the top repeat the upper half, which is noise-like
        at = self.bins / pitch
        at = torch.where(at > NUM_BINS - 1, 2 * (NUM_BINS - 1) - at, at)
        fine = _interpolate(fine, at)
        return ((moved + fine).exp() - 1.0).clamp_min(0.0) * active[..., None]

    def _microphone(self, power: torch.Tensor, strength: torch.Tensor) -> torch.Tensor:
        """Equaliser, band limits, room; then level. Returns mel energies (B, T, NUM_MEL)."""
        device = self.device
        one = strength[:, None]  # (B, 1)
        hertz = self.bins * SAMPLE_RATE / 512
        place = (hertz / 700).log1p() / math.log1p(8000 / 700)
        gain = torch.zeros(len(power), NUM_BINS, device=device)
        for wave in (0.5, 1, 1.5, 2, 3, 4, 6):
            depth = torch.randn_like(one) * 3.0 * one / wave**0.5
            phase = _uniform(one, 0, 2 * math.pi)
            gain = gain + depth * torch.cos(2 * math.pi * wave * place + phase)
        gain = torch.where(_chance(one, 0.1), torch.zeros_like(gain), gain)
        octave = (hertz.clamp_min(15.6) / 1000).log2()
        high_pass = torch.exp(_uniform(one, math.log(60), math.log(400)))
        order = _uniform(one, 6, 24) * _chance(one, 0.5)
        gain = gain - order * ((high_pass / 1000).log2() - octave).clamp_min(0)
        low_pass = torch.exp(_uniform(one, math.log(2800), math.log(7500)))
        order = _uniform(one, 12, 90) * _chance(one, 0.35 * one)
        gain = gain - order * (octave - (low_pass / 1000).log2()).clamp_min(0)
        phone = _chance(one, 0.36 * one)
        outside = (octave - math.log2(3.4)).clamp_min(0) + (math.log2(0.3) - octave).clamp_min(0)
        gain = torch.where(phone, gain - 60 * outside, gain)
        energies = (power * torch.exp(gain[:, None] * (math.log(10) / 10))) @ self.filters

        length = 48
        decay = torch.exp(_uniform(one, math.log(0.1), math.log(0.9)))
        steps = torch.arange(1, length, device=device) * (FRAME_SHIFT / SAMPLE_RATE)
        tail = torch.pow(10.0, -6 * steps / decay)
        tail = tail * torch.empty_like(tail).exponential_()
        share = torch.pow(10.0, _uniform(one, -1.8, 0.1)) * _chance(one, 0.5 * one)
        tail = share * tail / tail.sum(dim=1, keepdim=True).clamp_min(1e-9)
        kernel = torch.cat([tail.flip(1), torch.ones_like(one)], dim=1)
        padded = torch.nn.functional.pad(energies.transpose(1, 2), (length - 1, 0))
        windows = padded.unfold(2, length, 1)  # (B, NUM_MEL, T, length)
        energies = torch.einsum("bmtk,bk->btm", windows, kernel)

        total = energies.sum(dim=2)
        loud = total.amax(dim=1, keepdim=True).clamp_min(1.0)
        # the loudest frame of a full-scale voice has a mel energy near e^24
        level = _uniform(one, -36, 2) * (math.log(10) / 10)
        return energies * torch.exp(23.5 + level - loud.log())[..., None]

    def _babble(self, mel: torch.Tensor, loudest: torch.Tensor) -> torch.Tensor:
        """One to six other voices of this batch, before, during and after the answer."""
        count, frames, _ = mel.shape
        normal = mel / loudest.clamp_min(1e-3)[:, None, None]
        talkers = torch.randint(1, 7, (count, 1), device=self.device)
        time = torch.arange(frames, device=self.device)
        babble = torch.zeros_like(mel)
        for talker in range(6):
            other = torch.rand(count, device=self.device).argsort()[:, None]
            shift = torch.randint(frames, (count, 1), device=self.device)
            gain = _uniform(talkers.float(), 0.1, 1) * (talkers > talker)
            babble = babble + normal[other, (time + shift) % frames] * gain[..., None]
        return babble

    def _noise_and_masks(
        self, mel: torch.Tensor, active: torch.Tensor, strength: torch.Tensor
    ) -> torch.Tensor:
        device = self.device
        count, frames, _ = mel.shape
        one = strength[:, None]
        total = mel.sum(dim=2)
        loud = torch.where(active, total, torch.zeros_like(total)).amax(dim=1)
        empty = loud <= 0
        reference = torch.where(
            empty, torch.exp(_uniform(strength, 14, 23)), loud.clamp_min(1e-3) * 0.4
        )

        def colour() -> torch.Tensor:
            band = torch.linspace(0, 1, NUM_MEL, device=device)
            curve = (torch.randn_like(one) * 4.0 - 2.0) * band
            for wave in (1, 2, 4):
                depth = torch.randn_like(one) * 0.8
                curve = curve + depth * torch.cos(
                    2 * math.pi * wave * band + _uniform(one, 0, 6.28)
                )
            return torch.softmax(curve, dim=1)[:, None]

        def at(noise: torch.Tensor, snr_db: torch.Tensor, p: float | torch.Tensor) -> torch.Tensor:
            """``noise`` so many decibels under the voice, in a share ``p`` of all utterances."""
            mean = noise.sum(dim=2).mean(dim=1).clamp_min(1e-6)
            factor = reference / mean * torch.pow(10.0, -snr_db / 10) * _chance(strength, p)
            return noise * factor[:, None, None]

        grain = torch.empty_like(mel).exponential_()
        grain = 0.5 * grain + 0.5  # a band sums several bins
        out = mel + at(grain * colour(), _uniform(strength, 22 - 20 * strength, 45), 0.8)
        near, far = _uniform(strength, 3, 15), _uniform(strength, 12, 30)
        snr = torch.where(_chance(strength, 0.7), near, far)
        out = out + at(self._babble(mel, total.amax(dim=1)), snr, 0.75 * strength)
        # gated bursts, clatter and steady tones
        gate = torch.rand(count, frames // 4 + 2, device=device) < _uniform(one, 0.05, 0.6)
        gate = gate.float()[..., None].expand(-1, -1, 4).flatten(1)[:, :frames]
        bursts = grain * colour() * gate[..., None]
        out = out + at(bursts, _uniform(strength, -2, 25), 0.10 * strength)
        hit = (torch.rand(count, frames, device=device) < 0.02).float()
        clatter = torch.zeros_like(hit)
        for delay in range(8):
            clatter[:, delay:] += hit[:, : frames - delay] * math.exp(-delay * 0.6)
        hits = grain * colour() * clatter[..., None]
        out = out + at(hits, _uniform(strength, 0, 25), 0.08 * strength)
        notes = torch.zeros_like(mel)
        for _ in range(4):
            band = torch.randint(3, NUM_MEL - 2, (count, frames // 16 + 1), device=device)
            band = band[..., None].expand(-1, -1, 16).flatten(1)[:, :frames]
            notes.scatter_(2, band[..., None], 1.0)
        out = out + at(notes + 1e-3 * grain, _uniform(strength, 2, 25), 0.06 * strength)

        # the recorder's own floor, and sometimes true digital silence
        floor = torch.exp(_uniform(one, 0.0, 11.0))[..., None] * grain * colour() * NUM_MEL
        out = torch.where(_chance(strength, 0.15)[:, None, None], mel, out + floor)
        log_mel = out.clamp_min(ENERGY_FLOOR).log()
        # 16-bit rounding noise hides what is far below one step, except in true silence
        rounding = math.log(20.0) + grain.log()
        silent = out <= ENERGY_FLOOR * 2
        log_mel = torch.where(silent, log_mel, torch.logaddexp(log_mel, rounding))

        for p, widest in ((0.25, 7), (0.15, 5)):
            first = _uniform(one, 0, NUM_MEL)
            hide = (self.bands >= first) & (self.bands < first + _uniform(one, 0, widest))
            hide &= _chance(one, p * one)
            mean = log_mel.mean(dim=(1, 2), keepdim=True)
            log_mel = torch.where(hide[:, None], mean, log_mel)
        time = torch.arange(frames, device=device)[None]
        first = _uniform(one, 0, frames)
        hide = (time >= first) & (time < first + _uniform(one, 0, 6))
        hide &= _chance(one, 0.2 * one)
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
    sampler = Sampler(store, np.random.default_rng(args.seed))
    plan = Planner(store, args.seed).plan([sampler.item() for _ in range(20)], 165)
    torch.manual_seed(args.seed)
    log_mel, _ = Renderer(store, device).render(plan.position, plan.low, plan.high, plan.throat)
    figure, axes = plt.subplots(5, 4, figsize=(18, 12), layout="tight")
    for axis, rows, words in zip(axes.flat, log_mel, plan.words, strict=True):
        axis.imshow(rows.T, origin="lower", aspect="auto", vmin=-2, vmax=24)
        axis.set_title(" ".join(words) or "(noise)")
    figure.savefig(args.out, dpi=60)


if __name__ == "__main__":
    main()
