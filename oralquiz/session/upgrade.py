"""Older session files: what each version of the format lacked is put in when one is read.

Schema 1 had the pace at the top of session.json, no id, and no options beside it; its events did
not say whether an answer came early, nor when asking again was over. Such a file opens and shows
all that it holds; it cannot be run again from its recording, because how it was run is not in it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

from oralquiz.rounds import Options


def upgraded_header(head: Mapping[str, Any]) -> dict[str, Any]:
    """A header of schema 1 as one of schema 2. Raises KeyError, TypeError if it is not one."""
    upgraded = {key: value for key, value in head.items() if key != "pace_s"}
    canonical = json.dumps(head, sort_keys=True).encode()
    upgraded["schema"] = 2
    upgraded.setdefault("id", hashlib.sha256(canonical).hexdigest()[:32])
    if "options" not in upgraded:
        upgraded["options"] = Options(pace_s=head["pace_s"]).as_json()
    return upgraded


def upgraded_event(type: str, data: Mapping[str, Any]) -> dict[str, Any]:
    """What an event of schema 1 says, as one of schema 2 says it."""
    upgraded = dict(data)
    if type == "heard":
        upgraded.setdefault("early", False)
    elif type == "asked_again" and "start" in data:
        upgraded.setdefault("end", data["start"])
    return upgraded
