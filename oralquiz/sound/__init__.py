"""Samples and clips: one session rate, resampling, PCM, sound files."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
