"""Oral rounds of bead-frame mental arithmetic: compose, speak, listen, judge, record, replay.

What is listed here is the public API; each name is imported when it is first used.
"""

import lazy_loader

__version__ = "0.1.0"

__getattr__, __dir__, _public = lazy_loader.attach_stub(__name__, __file__)
__all__ = ["__version__", *_public]
