"""Samples as the 16 bits that a recording keeps."""

from __future__ import annotations

import numpy as np

from oralquiz.sound.clip import Samples


def quantise(samples: Samples) -> Samples:
    """Round to the 16 bits that the recording keeps, so that hearing it again hears the same."""
    steps = np.clip(np.round(samples * 32768.0), -32768, 32767)
    return (steps / 32768.0).astype(np.float32)
