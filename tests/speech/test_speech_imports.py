from __future__ import annotations

import subprocess
import sys

import pytest

from assistant.speech.parts import MissingPartError, need, want

_HEAVY = ("vosk", "pocketsphinx", "miniaudio", "soxr", "pyttsx3", "webrtcvad", "espeakng_loader")


def test_importing_the_house_loads_none_of_its_parts() -> None:
    script = (
        "import sys, pkgutil, importlib, assistant.speech as house\n"
        "for found in pkgutil.walk_packages(house.__path__, 'assistant.speech.'):\n"
        "    if '.acoustic' not in found.name: importlib.import_module(found.name)\n"
        f"print([name for name in {_HEAVY!r} if name in sys.modules])\n"
    )
    out = subprocess.run(
        [sys.executable, "-c", script], check=True, capture_output=True, text=True, timeout=60
    )
    assert out.stdout.strip() == "[]"


def test_a_missing_part_says_what_to_install() -> None:
    with pytest.raises(MissingPartError) as caught:
        need("no_such_part_at_all")
    assert "no_such_part_at_all" in caught.value.message
    assert "probetell[voice]" in caught.value.next_step
    assert want("no_such_part_at_all") is None
