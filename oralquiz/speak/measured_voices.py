"""How well voices dictate, where it was measured.

The share of terms that an unrelated recogniser (pocketsphinx) understands in sums at a pace of
2.5 s, by ``python -m tests.benchmarks.bench_dictation --voice NAME``; every pace is in
tests/benchmarks/README.md. Only English was measured: there is no such recogniser for the others.
"""

from __future__ import annotations

UNDERSTOOD = {
    "engine:gmw/en-us+edward": 0.99,
    "engine:gmw/en-gb-x-rp+edward": 0.98,
    "engine:gmw/en-us": 0.80,
    "neural:en_US-joe-medium": 1.00,
}

WELL = 0.95
"""From this share on a voice dictates well: people understand what the recogniser misses."""
