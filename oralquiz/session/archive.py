"""The four parts of a session, out of a zip or a directory, whatever state it is in.

Nothing is ever unpacked to the disk, only the four names are looked at, and of each no more is
read than a session can hold, so a malicious file can do no harm. Where a zip is cut off or
damaged, each part is read up to the damage.
"""

from __future__ import annotations

import contextlib
import struct
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path

from oralquiz.errors import SessionFileError

MIB = 1 << 20
MOST = {
    "session.json": 4 * MIB,
    "events.jsonl": 64 * MIB,
    "audio.flac": 256 * MIB,
    "captions.vtt": 16 * MIB,
}
"""The parts and the most bytes each may have: several times what four hours of a class need."""

_CHUNK = 1024  # so that little is lost where a compressed part is damaged


@dataclass(frozen=True)
class Parts:
    """What could be read, by name, and in words what could not."""

    content: dict[str, bytes]
    damage: tuple[str, ...] = ()


def read_parts(path: Path) -> Parts:
    """The parts of the session at ``path``, a finished zip or the directory of a running one.

    Raises SessionFileError if there is nothing at ``path``, or it is not a zip.
    """
    try:
        if path.is_dir():
            return _from_directory(path)
        if path.is_file():
            return _from_zip(path)
    except OSError as error:
        raise SessionFileError(f"{path}: cannot be read ({error.strerror or error})") from None
    raise SessionFileError(f"{path}: there is no such session file")


def _from_directory(path: Path) -> Parts:
    content: dict[str, bytes] = {}
    damage: list[str] = []
    for name, most in MOST.items():
        part = path / name
        if part.is_symlink() or not part.is_file():
            continue
        with part.open("rb") as file:
            content[name] = file.read(most)
            if file.read(1):
                damage.append(_too_large(name))
    return Parts(content, tuple(damage))


def _from_zip(path: Path) -> Parts:
    try:
        with zipfile.ZipFile(path) as archive:
            return _whole(archive)
    # what zipfile raises on damage: a bad structure or checksum, a kind of compression it does
    # not know or a password, a broken or an early end of a compressed stream, nonsense offsets
    except (
        zipfile.BadZipFile,
        NotImplementedError,
        RuntimeError,
        zlib.error,
        EOFError,
        ValueError,
        OverflowError,
        struct.error,
    ):
        return _salvaged(path)


def _whole(archive: zipfile.ZipFile) -> Parts:
    content: dict[str, bytes] = {}
    damage: list[str] = []
    names = set(archive.namelist())
    for name, most in MOST.items():
        if name not in names:
            continue
        with archive.open(name) as part:
            content[name] = part.read(most)
            if part.read(1):
                damage.append(_too_large(name))
    return Parts(content, tuple(damage))


def _too_large(name: str) -> str:
    return f"{name} is larger than {MOST[name] // MIB} MiB, the rest was not read"


# --- damaged zips -----------------------------------------------------------------------------

_LOCAL = struct.Struct("<4sHHHHHLLLHH")  # the local file header (PKWARE APPNOTE 4.3.7)
_SIGNATURE = b"PK\x03\x04"
_STORED, _DEFLATED = 0, 8
_SIZE_LATER = 0x08  # flag: the sizes are only known behind the data


def _salvaged(path: Path) -> Parts:
    """Each part up to the damage, found by the header that stands before it in the file."""
    with path.open("rb") as file:
        raw = file.read(sum(MOST.values()))
    content: dict[str, bytes] = {}
    damage: list[str] = []
    at = raw.find(_SIGNATURE)
    if at < 0:
        raise SessionFileError(f"{path}: not a readable session file (it is not a zip)")
    while 0 <= at <= len(raw) - _LOCAL.size:
        _, _, flags, method, _, _, checksum, packed, size, name_size, extra = _LOCAL.unpack_from(
            raw, at
        )
        start = at + _LOCAL.size + name_size + extra
        name = raw[at + _LOCAL.size : at + _LOCAL.size + name_size].decode("utf-8", "replace")
        at = raw.find(_SIGNATURE, at + 4 if flags & _SIZE_LATER else start + packed)
        if name not in MOST or name in content:
            continue
        if flags & _SIZE_LATER:
            packed = (at if at >= 0 else len(raw)) - start
        part = _unpacked(raw[start : start + packed], method, MOST[name])
        content[name] = part
        if flags & _SIZE_LATER or (len(part), zlib.crc32(part)) != (size, checksum):
            damage.append(f"{name} is damaged or cut off")
    missing = [name for name in MOST if name not in content]
    if missing:
        damage.append(f"{', '.join(missing)} could not be found")
    return Parts(content, tuple(damage) or ("the file is damaged",))


def _unpacked(packed: bytes, method: int, most: int) -> bytes:
    """The content of one part, up to the damage or the limit."""
    if method == _STORED:
        return packed[:most]
    if method != _DEFLATED:
        return b""
    inflate = zlib.decompressobj(-zlib.MAX_WBITS)
    found = bytearray()
    with contextlib.suppress(zlib.error):
        for at in range(0, len(packed), _CHUNK):
            found += inflate.decompress(packed[at : at + _CHUNK], most - len(found) + 1)
            if len(found) > most:
                break
    return bytes(found[:most])
