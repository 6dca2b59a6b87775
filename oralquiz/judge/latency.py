"""How quickly an answer came: from the end of the last spoken term to the onset of the voice.

Both ends are samples of one clock, so no clock is ever compared with another and the time at
which the recogniser finished (which depends on its endpoint rule) plays no part. The onset is the
voice's, not the number's: "er ... twenty-five" counts from "er", as a voice key would count.
"""

from __future__ import annotations


def latency_s(last_offset: int, voice_onset: int | None, sample_rate: int) -> float | None:
    """Seconds from ``last_offset`` to ``voice_onset``, both samples of one clock.

    ``last_offset`` is the first sample after the last spoken term. Negative when the pupil spoke
    before the term was over (an early answer); None when there was no voice. Exact to half a
    microsecond: it is rounded to 6 decimals so that it is written the same everywhere.
    """
    if sample_rate <= 0:
        raise ValueError(f"a sample rate of {sample_rate} hertz")
    if voice_onset is None:
        return None
    return round((voice_onset - last_offset) / sample_rate, 6)


def is_early(latency: float | None) -> bool:
    """Whether the voice began before the sum was read to its end."""
    return latency is not None and latency < 0
