"""Model directories as vosk loads them: one per grammar, with the built-in network linked in.

A directory holds ``am/final.mdl``, ``conf/``, ``graph/HCLG.fst``, ``graph/words.txt`` and
``graph/phones.txt``. All directories of a process lie in one temporary folder that goes away with
it. There is no ``word_boundary.int``: when a word was said is not asked for, and the one label of
all other words has no boundaries.
"""

from __future__ import annotations

import atexit
import os
import re
import shutil
import tempfile
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Final

from assistant.speech.fstfile import write_fst

if TYPE_CHECKING:
    from assistant.speech.phonegraph import DecodingGraph

__all__ = ["builtin_directory", "workspace", "write_model"]

_PARTS: Final = ("am/final.mdl", "conf/model.conf", "conf/fbank.conf", "graph/phones.txt")


def builtin_directory() -> Path:
    """Give the directory of the built-in model's files."""
    return Path(str(files("assistant.speech").joinpath("builtin")))


@cache
def workspace() -> Path:
    """Give the temporary folder of this process; it is removed when the process ends."""
    folder = Path(tempfile.mkdtemp(prefix="probetell-ear-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder


def write_model(name: str, graph: DecodingGraph, *, folder: Path | None = None) -> Path:
    """Write a model directory with ``graph``; give its path.

    ``name`` only serves to find it again. ``folder`` is where it is made; left out, the process's
    own temporary folder. The same graph gives the same files, byte for byte.
    """
    safe = re.sub(r"[^a-z0-9_]+", "_", name.lower())[:40]
    target = Path(tempfile.mkdtemp(prefix=f"{safe}-", dir=folder or workspace()))
    builtin = builtin_directory()
    for part in _PARTS:
        (target / part).parent.mkdir(parents=True, exist_ok=True)
        _link(builtin / part, target / part)
    (target / "graph" / "HCLG.fst").write_bytes(write_fst(graph.fst))
    rows = (f"{word} {number}\n" for number, word in enumerate(graph.words))
    (target / "graph" / "words.txt").write_text("".join(rows), encoding="utf-8")
    return target


def _link(source: Path, target: Path) -> None:
    """Link where the system allows it; the network has some MB and need not be copied."""
    for way in (os.symlink, os.link):
        try:
            way(source, target)
        except (OSError, NotImplementedError):
            continue
        return
    shutil.copyfile(source, target)
