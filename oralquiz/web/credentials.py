"""Who may come in: the teacher's passphrase, join codes that expire, and how often one may try."""

from __future__ import annotations

import json
import os
import secrets
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from threading import RLock

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from oralquiz.errors import BadInput
from oralquiz.records import Pupil

ALPHABET = "BCDFGHJKMPQRTVWXY2346789"
"""No vowels (no words), nothing that looks like something else (no 0 O, 1 I L, 5 S, N M kept)."""

CODE_LENGTH = 6
HOME_CODE_LENGTH = 9
CODE_LASTS_S = 2 * 3600.0
HOME_CODE_LASTS_S = 14 * 24 * 3600.0
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
    """What the server keeps between two starts, in a file that only its user can read.

    ``secret`` signs the cookies; ``epoch`` is in every cookie of a teacher, so that a new
    passphrase sends every browser back to the door.
    """

    path: Path
    secret: str
    passphrase: str = ""
    epoch: int = 0

    def save(self) -> None:
        data = {"secret": self.secret, "passphrase": self.passphrase, "epoch": self.epoch}
        _write(self.path, data)

    def set_passphrase(self, passphrase: str, passphrases: Passphrases | None = None) -> None:
        """Raises BadInput for one that is too short."""
        self.passphrase = (passphrases or Passphrases()).hash(passphrase)
        self.epoch += 1
        self.save()


def _write(path: Path, data: object) -> None:
    """Write JSON that only this user can read; whole or not at all."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(path.name + ".part")
    with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w") as file:
        json.dump(data, file)
    part.replace(path)


def load_keys(path: Path) -> Keys:
    """The keys kept at ``path``, made on first use. Raises BadInput for a file that is none."""
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
        return Keys(path, str(data["secret"]), str(data["passphrase"]), int(data["epoch"]))
    except FileNotFoundError:
        keys = Keys(path, secrets.token_urlsafe(48))
        keys.save()
        return keys
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise BadInput(f"{path}: no keys of ours ({error}); remove it to begin anew") from None


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
    own cards are good for two weeks, so they are kept at ``path`` (None: nowhere). Another program
    may write there (a pupil is erased at the command line): what counts is what it says now.

    Raises BadInput for a file at ``path`` that is none of ours.
    """

    now: Callable[[], float] = time.time
    path: Path | None = None
    _tickets: dict[str, Ticket] = field(default_factory=dict)
    _read: tuple[int, int, int] | None = None
    _alone: RLock = field(default_factory=RLock)
    """Erasing takes long, and has a thread of its own."""

    def __post_init__(self) -> None:
        self._reread()

    def _reread(self) -> None:
        """The cards that ``path`` holds now, if they are not those that were read last."""
        now = _state_of(self.path)
        if self.path is None or now == self._read:
            return
        try:
            kept = json.loads(self.path.read_text(encoding="utf-8")) if now else {}
            cards = {str(code): Ticket(**ticket) for code, ticket in kept.items()}
        except (OSError, ValueError, TypeError, AttributeError) as error:
            raise BadInput(
                f"{self.path}: no cards of ours ({error}); remove it to begin anew"
            ) from None
        of_classes = {c: t for c, t in self._tickets.items() if t.pupil is None}
        self._tickets, self._read = of_classes | cards, now

    def for_class(self, class_name: str) -> tuple[str, Ticket]:
        """The class's code: the one that is open, or a new one."""
        self._forget()
        for code, ticket in self._tickets.items():
            if ticket.pupil is None and ticket.class_name == class_name:
                return code, ticket
        return self._add(CODE_LENGTH, Ticket(class_name, self.now() + CODE_LASTS_S))

    def open_for(self, class_name: str) -> str:
        """The code that is open for a class; empty when none is."""
        self._forget()
        for code, ticket in self._tickets.items():
            if ticket.pupil is None and ticket.class_name == class_name:
                return code
        return ""

    def for_pupil(self, pupil: Pupil) -> tuple[str, Ticket]:
        """A new code for one pupil's practice; the one before opens nothing any more."""
        with self._alone:
            self._drop(pupil)
            expires = self.now() + HOME_CODE_LASTS_S
            ticket = Ticket(pupil.class_name, expires, pupil.id, pupil.name)
            added = self._add(HOME_CODE_LENGTH, ticket)
            self._keep()
            return added

    def card_of(self, pupil: Pupil) -> tuple[str, Ticket] | None:
        """The code on the pupil's card; None when there is no card that is good."""
        self._forget()
        for code, ticket in self._tickets.items():
            if ticket.pupil == pupil.id and ticket.name == pupil.name:
                return code, ticket
        return None

    def forget_pupil(self, pupil: Pupil) -> None:
        """The pupil's card opens nothing any more, and the name stands nowhere."""
        with self._alone:
            self._drop(pupil)
            if self._read is not None:  # a card that has run out may be there too
                self._keep()

    def _drop(self, pupil: Pupil) -> None:
        self._forget()
        self._tickets = {c: t for c, t in self._tickets.items() if t.pupil != pupil.id}

    def _keep(self) -> None:
        if self.path is not None:
            cards = {c: vars(t) for c, t in self._tickets.items() if t.pupil is not None}
            _write(self.path, cards)
            self._read = _state_of(self.path)

    def open(self, code: str) -> Ticket | None:
        """What ``code`` opens, however it was typed; None when it is unknown or has expired."""
        self._forget()
        typed = "".join(c for c in code.upper() if c.isalnum())[: HOME_CODE_LENGTH + 1]
        found = None
        for known, ticket in self._tickets.items():  # all of them: no time tells how near it was
            if secrets.compare_digest(known.encode(), typed.encode("utf-8")):
                found = ticket
        return found

    def close_class(self, class_name: str) -> None:
        """The class's open code opens nothing any more."""
        self._tickets = {
            code: ticket
            for code, ticket in self._tickets.items()
            if ticket.pupil is not None or ticket.class_name != class_name
        }

    def _add(self, length: int, ticket: Ticket) -> tuple[str, Ticket]:
        code = "".join(secrets.choice(ALPHABET) for _ in range(length))
        self._tickets[code] = ticket
        return code, ticket

    def _forget(self) -> None:
        with self._alone:
            with suppress(BadInput):  # while it runs, what was read before goes on counting
                self._reread()
            now = self.now()
            self._tickets = {c: t for c, t in self._tickets.items() if t.expires > now}


def _state_of(path: Path | None) -> tuple[int, int, int] | None:
    """What differs when the file was written again; None when it is not there."""
    try:
        state = path.stat() if path else None
    except OSError:
        return None
    return (state.st_ino, state.st_mtime_ns, state.st_size) if state else None


def codes_in(folder: Path) -> Codes:
    """The codes of the web app whose data is in ``folder``. Raises BadInput."""
    return Codes(path=folder / "web" / "cards.json")


@dataclass
class Limit:
    """A token bucket for each of many callers: ``burst`` at once, ``per_s`` a second after that."""

    burst: float
    per_s: float
    now: Callable[[], float] = time.monotonic
    _left: dict[str, tuple[float, float]] = field(default_factory=dict)

    def give_back(self, who: str) -> None:
        """What ``who`` took was not meant to count."""
        left, since = self._left.get(who, (self.burst, self.now()))
        self._left[who] = (min(self.burst, left + 1.0), since)

    def take(self, who: str, cost: float = 1.0) -> bool:
        """Whether ``who`` may go on; what is refused costs nothing."""
        now = self.now()
        left, since = self._left.get(who, (self.burst, now))
        left = min(self.burst, left + (now - since) * self.per_s)
        fine = left >= cost
        self._left[who] = (left - cost if fine else left, now)
        if len(self._left) > 2_000:  # callers whose bucket is full again need no memory
            full = self.burst / self.per_s
            self._left = {w: v for w, v in self._left.items() if now - v[1] < full}
        return fine
