"""Sums for a step of the syllabus, counted and drawn; work sheets."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
