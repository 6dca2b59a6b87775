"""Samples to 16 bits and back."""

from __future__ import annotations

import numpy as np

from oralquiz.sound.pcm import from_pcm16, quantise, to_pcm16


def test_every_step_comes_back() -> None:
    steps = np.arange(-32768, 32768).astype(np.int16)
    assert to_pcm16(from_pcm16(steps)).tolist() == steps.tolist()


def test_samples_are_rounded_to_the_nearest_step_and_limited_to_full_scale() -> None:
    samples = np.array([0.4, 0.6, -0.6, 40_000, -40_000]).astype(np.float32) / np.float32(32768)
    assert to_pcm16(samples).tolist() == [0, 1, -1, 32767, -32768]


def test_bytes_are_little_endian_and_half_a_step_is_left_out() -> None:
    assert from_pcm16(b"\x00\x40\x00\xc0\x01").tolist() == [0.5, -0.5]
    assert from_pcm16(b"").tolist() == []
    assert to_pcm16(np.array([0.5], np.float32)).tobytes() == b"\x00\x40"


def test_both_channels_of_a_recording_keep_their_shape() -> None:
    both = np.array([[0.5, -0.5], [0.25, 0.0]], np.float32)
    assert from_pcm16(to_pcm16(both)).tolist() == both.tolist()


def test_what_was_rounded_is_rounded_to_itself() -> None:
    samples = np.random.default_rng(1).uniform(-1, 1, 1000).astype(np.float32)
    once = quantise(samples)
    assert quantise(once).tolist() == once.tolist()
    assert np.abs(once - samples).max() <= 1 / 32768
