"""A round that one pupil practises alone: sums and pace chosen for the pupil."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
