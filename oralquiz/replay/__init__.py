"""A finished session, step by step: the story, the drawing, the page, the terminal."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
