"""The round: its plan, its events, and the runner that takes the microphone block by block."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
