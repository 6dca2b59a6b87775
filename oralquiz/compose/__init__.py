"""Sums for a step of the syllabus, counted and drawn; sets for a lesson; a teacher's own sums and
course."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
