"""Oral rounds of bead-frame mental arithmetic: compose, speak, listen, judge, record, replay."""

__version__ = "0.1.0"
