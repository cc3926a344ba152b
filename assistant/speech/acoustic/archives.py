"""Files inside the archives that packages of recordings use: zip, GResource and C4Group.

GResource is GLib's format; its own program ``gresource`` reads it. C4Group is the format of the
game OpenClonk, as the structures C4GroupHeader and C4GroupEntryCore of its source have it.
"""

from __future__ import annotations

import shutil
import struct
import subprocess
import zipfile
import zlib
from typing import TYPE_CHECKING, Final

from assistant.errors import GivenError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

__all__ = ["members"]

_HEAD: Final = 204  # bytes of C4GroupHeader, which are disguised
_COUNT_AT: Final = 36
_ENTRY: Final = 316  # bytes of C4GroupEntryCore
_NAME: Final = 260
_MASK: Final = 237
_GZIP: Final = b"\x1f\x8b"
_GZIP_WINDOW: Final = 31


def members(archive: Path, wanted: Callable[[str], bool]) -> Iterator[tuple[str, bytes]]:
    """Give the path and the content of every file whose path is ``wanted``, by path.

    Paths have no slash before them; in a C4Group they begin with the name of the group's file.
    Raises ``GivenError`` when the file is no such archive or ``gresource`` is missing.
    """
    if archive.suffix == ".gresource":
        found = _resources(archive, wanted)
    elif archive.suffix in {".ocg", ".ocd", ".ocf"}:
        found = sorted(one for one in _group(archive) if wanted(one[0]))
    else:
        found = _zipped(archive, wanted)
    yield from found


def _no_archive(archive: Path) -> GivenError:
    return GivenError(
        f"{archive.name} is no archive that can be read.",
        next_step="Install or unpack its package again.",
    )


def _zipped(archive: Path, wanted: Callable[[str], bool]) -> list[tuple[str, bytes]]:
    try:
        with zipfile.ZipFile(archive) as opened:
            names = sorted(name for name in opened.namelist() if wanted(name))
            return [(name, opened.read(name)) for name in names]
    except zipfile.BadZipFile as error:
        raise _no_archive(archive) from error


def _resources(archive: Path, wanted: Callable[[str], bool]) -> list[tuple[str, bytes]]:
    program = shutil.which("gresource")
    if program is None:
        raise GivenError(
            f"gresource is missing; it reads {archive.name}.",
            next_step="Install libglib2.0-bin (Debian).",
        )

    def told(*words: str) -> bytes:
        asked = [program, *words]
        return subprocess.run(asked, check=True, capture_output=True).stdout  # noqa: S603

    try:
        paths = told("list", str(archive)).decode("utf-8").split("\n")
        names = sorted(path[1:] for path in paths if path and wanted(path[1:]))
        return [(name, told("extract", str(archive), f"/{name}")) for name in names]
    except subprocess.CalledProcessError as error:
        raise _no_archive(archive) from error


def _group(archive: Path) -> Iterator[tuple[str, bytes]]:
    """Unpack a C4Group: gzip with two bytes of its own at the beginning."""
    try:
        data = zlib.decompress(_GZIP + archive.read_bytes()[2:], _GZIP_WINDOW)
        yield from _entries(data, archive.name)
    except (zlib.error, struct.error) as error:
        raise _no_archive(archive) from error


def _entries(data: bytes, path: str) -> Iterator[tuple[str, bytes]]:
    count = struct.unpack_from("<i", _plain(data[:_HEAD]), _COUNT_AT)[0]
    contents = _HEAD + count * _ENTRY
    for start in range(_HEAD, contents, _ENTRY):
        name = data[start : start + _NAME].split(b"\0")[0].decode("cp1252")
        _, is_group, size, _, at = struct.unpack_from("<5i", data, start + _NAME)
        content = data[contents + at : contents + at + size]
        if is_group:
            yield from _entries(content, f"{path}/{name}")
        else:
            yield f"{path}/{name}", content


def _plain(head: bytes) -> bytes:
    """Undo the disguise: every first and third byte of three change places, all bits masked."""
    bytes_ = bytearray(head)
    for at in range(0, len(bytes_) - 2, 3):
        bytes_[at], bytes_[at + 2] = bytes_[at + 2], bytes_[at]
    return bytes(byte ^ _MASK for byte in bytes_)
