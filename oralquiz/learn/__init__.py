"""What many answers say about a pupil: speed, change, weaknesses; and practice that adapts."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
