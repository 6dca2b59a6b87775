"""Who is here: the devices, the places in class, the pupils' cards."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterable

from oralquiz.records import Pupil
from oralquiz.rounds import COMMANDS
from oralquiz.web.browser_device import BrowserDevice
from oralquiz.web.credentials import Codes
from oralquiz.web.live_messages import Present

PUPIL_COMMANDS: frozenset[str] = frozenset()
"""What a pupil's page may command in class: nothing."""


def device_key(pupil: Pupil) -> str:
    return f"pupil:{pupil.id}"


class Roster:
    """``changed`` is called with a device whose page came, went or got ready; None for another
    change."""

    def __init__(self, codes: Codes, changed: Callable[[BrowserDevice | None], None]) -> None:
        self.codes = codes
        self.devices: dict[str, BrowserDevice] = {}
        self.claims: dict[int, str] = {}
        """Which browser holds a pupil's place in class: pupil -> a random mark in its cookie."""
        self.front = BrowserDevice("front", "this computer", COMMANDS - {"typed"}, changed)
        self._changed = changed

    # --- devices ----------------------------------------------------------------------------

    def device_of(self, pupil: Pupil) -> BrowserDevice:
        key = device_key(pupil)
        if key not in self.devices:
            self.devices[key] = BrowserDevice(key, pupil.name, PUPIL_COMMANDS, self._changed)
        return self.devices[key]

    def ready(self, pupils: Iterable[Pupil]) -> list[Pupil]:
        """Those of ``pupils`` who have said that they are ready."""
        ready = {key for key, device in self.devices.items() if device.online and device.ready}
        return [pupil for pupil in pupils if device_key(pupil) in ready]

    def present(self) -> list[Present]:
        """The pupils whose page is open."""
        online = [device for device in self.devices.values() if device.online]
        return [Present(device.name, device.ready, device.mic) for device in online]

    # --- places in class --------------------------------------------------------------------

    def claim(self, pupil: Pupil) -> str | None:
        """A place for ``pupil``'s browser; None when another browser holds it."""
        if pupil.id in self.claims:
            return None
        self.claims[pupil.id] = secrets.token_urlsafe(12)
        return self.claims[pupil.id]

    def release(self, pupil: Pupil) -> None:
        """Whoever sits at ``pupil``'s place leaves it, and the name can be given again."""
        self.claims.pop(pupil.id, None)
        device = self.devices.pop(device_key(pupil), None)
        if device is not None:
            device.close("the teacher freed this place")
        self._changed(None)

    # --- cards for practice at home ---------------------------------------------------------

    def new_card(self, pupil: Pupil) -> None:
        """A card for ``pupil``; the one before opens nothing any more, and its page is closed."""
        self.codes.for_pupil(pupil)
        self.close_home(pupil, "your teacher made you a new card")

    def take_card_back(self, pupil: Pupil) -> None:
        """The pupil's card opens nothing any more, and its page is closed."""
        self.codes.forget_pupil(pupil)
        self.close_home(pupil, "your teacher took this card back")

    def close_home(self, pupil: Pupil, why: str) -> None:
        """The pupil's page ends if it came with a card."""
        device = self.devices.get(device_key(pupil))
        if device is not None and device.home:
            device.close(why)
