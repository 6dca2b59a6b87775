"""The file in which pupils' cards were kept before the records held them."""

from __future__ import annotations

from pathlib import Path

import msgspec
from sqlite_utils import Database

from oralquiz.errors import BadInput


class KeptCard(msgspec.Struct):
    """A card as the file has it, by its code."""

    class_name: str
    expires: float
    pupil: int
    name: str = ""


def take_in(db: Database, file: Path) -> None:
    """Put the cards of ``file`` into the records and remove it, once; nothing if there is none.

    Raises BadInput, and leaves the file where it is, if it does not hold cards.
    """
    try:
        cards = msgspec.json.decode(file.read_bytes(), type=dict[str, KeptCard])
    except FileNotFoundError:
        return
    except (OSError, msgspec.DecodeError, UnicodeDecodeError) as error:
        raise BadInput(
            f"{file}: holds no pupils' cards ({error}); remove it to start anew"
        ) from None
    with db.atomic():
        db.table("cards").insert_all(
            (
                {
                    "code": code,
                    "pupil_id": card.pupil,
                    "name": card.name,
                    "class_name": card.class_name,
                    "expires": card.expires,
                }
                for code, card in cards.items()
            ),
            ignore=True,
        )
    file.unlink(missing_ok=True)
