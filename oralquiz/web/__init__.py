"""The web app: the teacher's page, the pupils' pages, practice at home."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
