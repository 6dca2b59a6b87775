"""Who may sign in: the teacher's passphrase, join codes that expire, and rate limits."""

from __future__ import annotations

import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import msgspec
from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from oralquiz.errors import BadInput
from oralquiz.folders import write_private
from oralquiz.records import Card, Cards, Pupil

ALPHABET = "BCDFGHJKMPQRTVWXY2346789"
"""No vowels (so no words) and no characters that are easily confused (no 0 O, 1 I L, 5 S)."""

CODE_LENGTH = 6
HOME_CODE_LENGTH = 9
CODE_LASTS_S = 2 * 3600.0
PASSPHRASE_LENGTH = 10


class Passphrases:
    """Passphrases as argon2id hashes, at the cost that the library recommends (RFC 9106)."""

    def __init__(self, hasher: PasswordHasher | None = None) -> None:
        self._hasher = hasher or PasswordHasher()

    def hash(self, passphrase: str) -> str:
        """Raises BadInput for one that is too short to be worth hashing."""
        if len(passphrase) < PASSPHRASE_LENGTH:
            raise BadInput(f"a passphrase has at least {PASSPHRASE_LENGTH} characters")
        if len(passphrase) > 500:
            raise BadInput("a passphrase has at most 500 characters")
        return self._hasher.hash(passphrase)

    def fits(self, hashed: str, passphrase: str) -> bool:
        try:
            return self._hasher.verify(hashed, passphrase[:500])
        except (VerificationError, InvalidHashError):
            return False


@dataclass
class Keys:
    """What the server keeps when it is stopped, in a file that only its user can read.

    ``secret`` signs the cookies; ``epoch`` is in every cookie of a teacher, so that a new
    passphrase makes every browser sign in again.
    """

    path: Path
    secret: str
    passphrase: str = ""
    epoch: int = 0

    def save(self) -> None:
        kept = KeptKeys(self.secret, self.passphrase, self.epoch)
        write_private(self.path, msgspec.json.encode(kept))

    def set_passphrase(self, passphrase: str, passphrases: Passphrases | None = None) -> None:
        """Raises BadInput for one that is too short."""
        self.passphrase = (passphrases or Passphrases()).hash(passphrase)
        self.epoch += 1
        self.save()


class KeptKeys(msgspec.Struct):
    """The file of the keys."""

    secret: str
    passphrase: str
    epoch: int


def load_keys(path: Path) -> Keys:
    """The keys kept at ``path``, made on first use. Raises BadInput for a file that does not hold
    keys."""
    try:
        kept = msgspec.json.decode(path.read_bytes(), type=KeptKeys)
        return Keys(path, kept.secret, kept.passphrase, kept.epoch)
    except FileNotFoundError:
        keys = Keys(path, secrets.token_urlsafe(48))
        keys.save()
        return keys
    except (OSError, UnicodeDecodeError, msgspec.DecodeError) as error:
        raise BadInput(f"{path}: no keys in it ({error}); remove it to start over") from None


@dataclass(frozen=True)
class Ticket:
    """What a join code opens: a class (the pupil then says a name), or one pupil's practice."""

    class_name: str
    expires: float
    pupil: int | None = None
    name: str = ""


@dataclass
class Codes:
    """Join codes. Those of a class are in memory only: a restart of the server ends them. Pupils'
    own ``cards`` are in the records, where another program may take them back."""

    now: Callable[[], float] = time.time
    cards: Cards = field(default_factory=Cards)
    _classes: dict[str, Ticket] = field(default_factory=dict)

    def for_class(self, class_name: str) -> tuple[str, Ticket]:
        """The class's code: the one that is open, or a new one."""
        code = self.open_for(class_name)
        if not code:
            code = _new_code(CODE_LENGTH)
            self._classes[code] = Ticket(class_name, self.now() + CODE_LASTS_S)
        return code, self._classes[code]

    def open_for(self, class_name: str) -> str:
        """The code that is open for a class; empty when none is."""
        good = self._good_classes().items()
        return next((code for code, ticket in good if ticket.class_name == class_name), "")

    def for_pupil(self, pupil: Pupil) -> tuple[str, Ticket]:
        """A new code for one pupil's practice; the one before stops working."""
        return _ticket(self.cards.give(pupil, _new_code(HOME_CODE_LENGTH), self.now()))

    def card_of(self, pupil: Pupil) -> tuple[str, Ticket] | None:
        """The code on the pupil's card; None when there is no valid card."""
        card = self.cards.of(pupil, self.now())
        return _ticket(card) if card else None

    def forget_pupil(self, pupil: Pupil) -> None:
        """The pupil's card stops working."""
        self.cards.take_back(pupil)

    def open(self, code: str) -> Ticket | None:
        """What ``code`` opens, however it was typed; None when it is unknown or has expired."""
        typed = "".join(c for c in code.upper() if c.isalnum())[: HOME_CODE_LENGTH + 1]
        found = None
        for known, ticket in self._good_classes().items():  # all of them: see Cards.called
            if secrets.compare_digest(known.encode(), typed.encode("utf-8")):
                found = ticket
        card = self.cards.called(typed, self.now())
        return found or (_ticket(card)[1] if card else None)

    def close_class(self, class_name: str) -> None:
        """The class's open code stops working."""
        self._classes.pop(self.open_for(class_name), None)

    def _good_classes(self) -> dict[str, Ticket]:
        now = self.now()
        self._classes = {c: t for c, t in self._classes.items() if t.expires > now}
        return self._classes


def _new_code(length: int) -> str:
    return "".join(secrets.choice(ALPHABET) for _ in range(length))


def _ticket(card: Card) -> tuple[str, Ticket]:
    return card.code, Ticket(card.class_name, card.expires, card.pupil, card.name)


@dataclass
class Limit:
    """A token bucket for each of many callers: ``burst`` at once, then ``per_s`` a second."""

    burst: float
    per_s: float
    now: Callable[[], float] = time.monotonic
    _left: dict[str, tuple[float, float]] = field(default_factory=dict)

    def give_back(self, who: str) -> None:
        """What ``who`` took last does not count."""
        left, since = self._left.get(who, (self.burst, self.now()))
        self._left[who] = (min(self.burst, left + 1.0), since)

    def take(self, who: str, cost: float = 1.0) -> bool:
        """Whether ``who`` may go on; a refusal costs nothing."""
        now = self.now()
        left, since = self._left.get(who, (self.burst, now))
        left = min(self.burst, left + (now - since) * self.per_s)
        fine = left >= cost
        self._left[who] = (left - cost if fine else left, now)
        if len(self._left) > 2_000:  # callers whose bucket is full again need no memory
            full = self.burst / self.per_s
            self._left = {w: v for w, v in self._left.items() if now - v[1] < full}
        return fine
