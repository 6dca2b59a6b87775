"""The crash-safe recorder: what happened is on the disk before the next thing happens.

While a round runs, its session is a directory with the names of the finished file, locked against
everybody else; when the round is over, the directory becomes one ``.zip``. Events are flushed and
synced one by one; the sound is a FLAC stream that is written as it comes, and can be read up to
where it was cut.
"""

from __future__ import annotations

import contextlib
import json
import os
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from oralquiz.folders import private_folder, replacing
from oralquiz.rounds import Entry, Event
from oralquiz.session.folder_lock import BEGIN_S, discard, let_go, lock
from oralquiz.session.webvtt import captions
from oralquiz.sound import SESSION_RATE, Pcm, Samples, to_pcm16

NAMES = ("session.json", "events.jsonl", "audio.flac", "captions.vtt")
ZIP_TIME = (1980, 1, 1, 0, 0, 0)  # the earliest a zip can hold: equal sessions, equal bytes


QUICK = 0.0
"""FLAC's compression level. The highest would save 5 % of a file, but take a tenth of the computing
time of a class that is being recorded."""

QUICK_BLOCK = 1_152
"""Samples of a block of quick FLAC: what a crash can cost is 72 ms, less than the quiet by which an
answer is known to be over."""


class FileRecorder:
    """Writes one session under ``folder`` and packs it when it is finished.

    ``header`` becomes session.json. With ``syncs`` every event is on the disk when ``event``
    returns, else when ``sync`` does. Raises FileExistsError if ``folder`` is there already, and
    OSError (a full disk, say) from whichever call met it; what was written before stays readable.
    """

    def __init__(self, folder: Path, header: Mapping[str, Any], *, syncs: bool = True) -> None:
        private_folder(folder.parent)
        folder.mkdir(mode=0o700)
        self.folder = folder
        self._syncs = syncs
        self._unsynced = False
        self._entries: list[Entry] = []
        with contextlib.ExitStack() as undo:  # a round that cannot begin leaves nothing behind
            undo.callback(_remove_empty, folder)
            self._lock = lock(folder, BEGIN_S)
            undo.callback(let_go, folder, self._lock)
            undo.callback(discard, folder)
            (folder / "session.json").write_text(
                json.dumps(header, ensure_ascii=False, indent=1) + "\n", encoding="utf-8"
            )
            self._log = (folder / "events.jsonl").open("w", encoding="utf-8", newline="\n")
            undo.callback(self._log.close)
            with _as_os_error(folder):
                self._sound = _flac(folder / "audio.flac")
            undo.pop_all()

    def event(self, at: int, event: Event) -> None:
        """Append one event; with ``syncs`` have it on the disk before returning."""
        entry = Entry(len(self._entries), at, event)
        self._entries.append(entry)
        self._log.write(entry.encode() + "\n")
        self._log.flush()
        self._unsynced = True
        if self._syncs:
            self.sync()

    def sync(self) -> None:
        """Have all events on the disk before returning. May be called from another thread."""
        if not self._unsynced or self._log.closed:
            return
        self._unsynced = False  # before: an event that is written meanwhile is synced next time
        os.fsync(self._log.fileno())

    def sound(self, said: Samples, heard: Samples) -> None:
        """Append what was said and heard, (n,) each, already rounded to 16 bits."""
        with _as_os_error(self.folder):
            self._sound.write(to_pcm16(np.stack([said, heard], axis=1)))

    def close(self) -> None:
        """Close the files and leave the directory as it is, a round that was cut short."""
        try:
            self._close()
        finally:
            self._lock.release()

    def abandon(self) -> None:
        """Close what can be closed after a failure to write; the directory stays."""
        for part in (self._log, self._sound):
            with contextlib.suppress(OSError, soundfile.SoundFileError):
                part.close()
        self._lock.release()

    def discard(self) -> None:
        """Remove everything: nothing has been asked yet."""
        self._close()
        discard(self.folder)
        let_go(self.folder, self._lock)

    def finish(self) -> Path:
        """Close, add the captions, pack ``folder`` as ``folder.zip`` and return its path."""
        self._close()
        (self.folder / "captions.vtt").write_text(
            captions(self._entries, SESSION_RATE), encoding="utf-8", newline="\n"
        )
        packed = pack(self.folder, packed_as(self.folder))
        with contextlib.suppress(OSError):  # the session is kept; `recover` tidies up
            discard(self.folder)
        let_go(self.folder, self._lock)
        return packed

    def _close(self) -> None:
        self._log.close()
        with _as_os_error(self.folder):
            self._sound.close()


def _remove_empty(folder: Path) -> None:
    with contextlib.suppress(OSError):  # nobody's folder yet, or gone already
        folder.rmdir()


@contextlib.contextmanager
def _as_os_error(folder: Path) -> Iterator[None]:
    """libsndfile says of a full disk only that there was an error of the system."""
    try:
        yield
    except soundfile.SoundFileError as error:
        raise OSError(f"{folder / 'audio.flac'}: cannot be written ({error})") from None


def packed_as(folder: Path) -> Path:
    """The session file that ``folder`` becomes."""
    return folder.with_name(folder.name + ".zip")


def _flac(path: Path) -> soundfile.SoundFile:
    return soundfile.SoundFile(
        path,
        "w",
        SESSION_RATE,
        2,
        format="FLAC",
        subtype="PCM_16",
        compression_level=QUICK,
    )


def write_parts(folder: Path, head: Mapping[str, Any], events: Sequence[Entry], audio: Pcm) -> None:
    """Write the four files of a session into ``folder``."""
    rate = int(head["sample_rate"])
    (folder / "session.json").write_text(
        json.dumps(head, ensure_ascii=False, indent=1) + "\n", encoding="utf-8"
    )
    (folder / "events.jsonl").write_text(
        "".join(event.encode() + "\n" for event in events), encoding="utf-8", newline="\n"
    )
    with _flac(folder / "audio.flac") as sound:
        sound.write(np.ascontiguousarray(audio))
    (folder / "captions.vtt").write_text(captions(events, rate), encoding="utf-8", newline="\n")


def pack(folder: Path, target: Path) -> Path:
    """Write the files of a session directory as one zip; whole or not at all."""
    with replacing(target) as part, zipfile.ZipFile(part, "w") as archive:
        for name in NAMES:
            info = zipfile.ZipInfo(name, ZIP_TIME)
            info.compress_type = (
                zipfile.ZIP_STORED if name == "audio.flac" else zipfile.ZIP_DEFLATED
            )
            info.external_attr = 0o644 << 16
            archive.writestr(info, (folder / name).read_bytes())
    return target
