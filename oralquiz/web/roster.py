"""Who is here: the devices, the places in class, the pupils' cards."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from oralquiz.errors import BadInput
from oralquiz.records import Pupil
from oralquiz.rounds import COMMANDS
from oralquiz.web.browser_device import BrowserDevice
from oralquiz.web.credentials import Codes
from oralquiz.web.live_messages import Asking, Present

PUPIL_COMMANDS: frozenset[str] = frozenset()
"""What a pupil's page may command in class: nothing."""


def device_key(pupil: Pupil) -> str:
    return f"pupil:{pupil.id}"


@dataclass
class Place:
    """A pupil's place in class, for one browser: ``mark`` is in its cookie. It sees what was
    recorded before only when the teacher ``allowed`` it; ``asking`` marks its question."""

    pupil: str
    mark: str
    asking: str = ""
    allowed: bool = False


class Roster:
    """``changed`` is called with a device whose page came, went or got ready; None for another
    change."""

    def __init__(self, codes: Codes, changed: Callable[[BrowserDevice | None], None]) -> None:
        self.codes = codes
        self.devices: dict[str, BrowserDevice] = {}
        self.places: dict[int, Place] = {}
        """Which browser holds a pupil's place in class, by the pupil's number."""
        self.front = BrowserDevice("front", "this computer", COMMANDS - {"typed"}, changed)
        self._changed = changed

    # --- devices ----------------------------------------------------------------------------

    def device_of(self, pupil: Pupil) -> BrowserDevice:
        key = device_key(pupil)
        if key not in self.devices:
            self.devices[key] = BrowserDevice(key, pupil.name, PUPIL_COMMANDS, self._changed)
        return self.devices[key]

    def ready(self, pupils: Iterable[Pupil]) -> list[Pupil]:
        """Those of ``pupils`` who are ready."""
        ready = {key for key, device in self.devices.items() if device.online and device.ready}
        return [pupil for pupil in pupils if device_key(pupil) in ready]

    def present(self) -> list[Present]:
        """The pupils whose page is open."""
        online = [device for device in self.devices.values() if device.online]
        return [Present(device.name, device.ready, device.mic) for device in online]

    # --- places in class --------------------------------------------------------------------

    def take_place(self, pupil: Pupil) -> Place | None:
        """A place for ``pupil``'s browser; None when another browser holds it."""
        if pupil.id in self.places:
            return None
        self.places[pupil.id] = Place(pupil.name, secrets.token_urlsafe(12))
        return self.places[pupil.id]

    def ask(self, pupil: Pupil) -> None:
        """Whoever sits at ``pupil``'s place asks the teacher to see what was recorded before."""
        place = self.places.get(pupil.id)
        if place is not None and not place.allowed:
            place.asking = place.asking or secrets.token_urlsafe(12)
            self._changed(None)

    def answer(self, asking: str, *, yes: bool) -> Place:
        """The teacher's answer, for the browser that asked and no other. Raises BadInput when it
        has left since."""
        places = self.places.values()
        place = next((one for one in places if asking and one.asking == asking), None)
        if place is None:
            raise BadInput("whoever asked that has left")
        place.asking, place.allowed = "", yes
        self._changed(None)
        return place

    def asking(self) -> list[Asking]:
        """The questions that wait for the teacher."""
        return [Asking(one.pupil, one.asking) for one in self.places.values() if one.asking]

    def release(self, pupil: Pupil) -> None:
        """Whoever sits at ``pupil``'s place leaves it, and the name can be given again."""
        self.places.pop(pupil.id, None)
        device = self.devices.pop(device_key(pupil), None)
        if device is not None:
            device.close("the teacher freed this place")
        self._changed(None)

    # --- cards for practice at home ---------------------------------------------------------

    def new_card(self, pupil: Pupil) -> None:
        """A card for ``pupil``; the one before stops working, and its page is closed."""
        self.codes.for_pupil(pupil)
        self.close_home(pupil, "your teacher made you a new card")

    def take_card_back(self, pupil: Pupil) -> None:
        """The pupil's card stops working, and its page is closed."""
        self.codes.forget_pupil(pupil)
        self.close_home(pupil, "your teacher took this card back")

    def close_home(self, pupil: Pupil, why: str) -> None:
        """The pupil's page ends if it came with a card."""
        device = self.devices.get(device_key(pupil))
        if device is not None and device.home:
            device.close(why)
