"""Archives that a test wrote: zip, OpenClonk's C4Group, and what gresource is asked."""

from __future__ import annotations

import gzip
import struct
import zipfile
from typing import TYPE_CHECKING

import pytest

from assistant.errors import GivenError
from assistant.speech.acoustic.archives import members

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

Files = dict[str, "bytes | Files"]


def group_bytes(files: Mapping[str, bytes | Files]) -> bytes:
    """Write a C4Group as OpenClonk's C4Group.h lays it out, entries one after the other.

    C4GroupHeader: 28 bytes of identity, two versions, the count of entries, 164 bytes: 204 in all.
    C4GroupEntryCore: 260 bytes of name; packed, is a group, size, reserved, offset; 36 bytes.
    MemScramble: every byte by exclusive or with 237, then bytes 0 and 2 of three change places.
    """
    entries, contents = b"", b""
    for name, told in files.items():
        content = told if isinstance(told, bytes) else group_bytes(told)
        numbers = struct.pack(
            "<5i", 1, int(not isinstance(told, bytes)), len(content), 0, len(contents)
        )
        entries += name.encode("cp1252").ljust(260, b"\0") + numbers + bytes(36)
        contents += content
    identity = b"RedWolf Design GrpFolder".ljust(28, b"\0")
    head = bytearray(
        byte ^ 237 for byte in identity + struct.pack("<3i", 1, 2, len(files)) + bytes(164)
    )
    for at in range(0, len(head) - 2, 3):
        head[at : at + 3] = head[at : at + 3][::-1]
    return bytes(head) + entries + contents


def packed_group(files: Mapping[str, bytes | Files]) -> bytes:
    """Compress a group: gzip whose first two bytes are 1E 8C (StdGzCompressedFile)."""
    return b"\x1e\x8c" + gzip.compress(group_bytes(files))[2:]


def test_a_group_and_the_groups_in_it_are_read(tmp_path: Path) -> None:
    deep: Files = {"Müll.wav": b"rubbish"}
    files: Files = {"Rain.ogg": b"rain", "Doors.ocg": {"Open.wav": b"open", "Old.ocg": deep}}
    (tmp_path / "Sound.ocg").write_bytes(packed_group(files))
    assert list(members(tmp_path / "Sound.ocg", lambda _: True)) == [
        ("Sound.ocg/Doors.ocg/Old.ocg/Müll.wav", b"rubbish"),
        ("Sound.ocg/Doors.ocg/Open.wav", b"open"),
        ("Sound.ocg/Rain.ogg", b"rain"),
    ]
    only = members(tmp_path / "Sound.ocg", lambda path: path.endswith("Open.wav"))
    assert [path for path, _ in only] == ["Sound.ocg/Doors.ocg/Open.wav"]


@pytest.mark.parametrize("ending", ["zip", "pk3"])
def test_a_zip_is_read_by_path(tmp_path: Path, ending: str) -> None:
    with zipfile.ZipFile(tmp_path / f"a.{ending}", "w") as made:
        made.writestr("sound/b.wav", b"b")
        made.writestr("sound/a.wav", b"a")
        made.writestr("text.txt", b"no")
    found = members(tmp_path / f"a.{ending}", lambda path: path.startswith("sound/"))
    assert list(found) == [("sound/a.wav", b"a"), ("sound/b.wav", b"b")]


def test_gresource_lists_and_extracts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # gresource(1): "list FILE" writes a path a line, "extract FILE PATH" the content.
    program = tmp_path / "gresource"
    program.write_text(
        '#!/bin/sh\nif [ "$1" = list ]; then printf "/org/b.ogg\\n/org/a.ogg\\n/org/c.ui\\n"\n'
        'else printf "%s of " "$3"; cat "$2"; fi\n',
        encoding="utf-8",
    )
    program.chmod(0o755)
    (tmp_path / "x.gresource").write_bytes(b"x")
    monkeypatch.setenv("PATH", f"{tmp_path}:/usr/bin:/bin")
    found = members(tmp_path / "x.gresource", lambda path: path.endswith(".ogg"))
    assert list(found) == [
        ("org/a.ogg", b"/org/a.ogg of x"),
        ("org/b.ogg", b"/org/b.ogg of x"),
    ]


def test_a_missing_gresource_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(GivenError, match=r"libglib2\.0-bin"):
        list(members(tmp_path / "x.gresource", lambda _: True))


@pytest.mark.parametrize("name", ["a.zip", "a.ocg", "short.ocg"])
def test_what_is_no_archive_is_told(tmp_path: Path, name: str) -> None:
    broken = b"\x1e\x8c" + gzip.compress(b"too short")[2:] if name == "short.ocg" else b"nothing"
    (tmp_path / name).write_bytes(broken)
    with pytest.raises(GivenError, match="no archive"):
        list(members(tmp_path / name, lambda _: True))
