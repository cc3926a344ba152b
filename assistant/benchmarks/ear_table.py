"""The ear's table: what was asked of the built-in ear, and what was measured, a peer beside it."""

from __future__ import annotations

import importlib.util
from collections import Counter
from typing import TYPE_CHECKING, Final

from assistant.benchmarks import ear_sets as sets
from assistant.benchmarks.ear_clips import grammar_graph, hear, right, rivalry
from assistant.benchmarks.ear_cost import cost_rows
from assistant.readings.fusion import FusionSettings
from assistant.speech.ear_both import BothEars
from assistant.speech.ear_sphinx import SphinxEar
from assistant.speech.ear_vosk import BuiltinEar
from assistant.speech.parts import MissingPartError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from assistant.benchmarks.ear_sets import Said
    from assistant.speech.events import Recogniser

__all__ = ["counted", "show"]

_NO_DATA: Final = "no data here"
_OVER: Final = "dB over noise"
_TEENS: Final = f"teens against tens, 10 {_OVER}"
_OTHERS: Final = "other words"
_NOISE: Final = "noise alone, volts expected"
_WHISPERS: Final = ("faster_whisper", "whisper", "pywhispercpp")
_HEADS: Final = ("clips", "value", "wrong", "asked", "refused")


def counted(ear: Recogniser, said: Sequence[Said], *, others: bool = False) -> Counter[str]:
    """Hear a set and count: clips, value, wrong, asked, asked_right, refused.

    ``wrong`` was taken without asking; ``asked`` is too close to call, ``asked_right`` of these
    with the right value ahead. ``others``: nothing in the set is a phrase.
    """
    counts: Counter[str] = Counter(clips=len(said))
    for one in said:
        heard = hear(ear, one.sound, one.grammar)
        exact = heard.text == one.clip.words
        good = not others and (exact if one.grammar == "numbers" else right(heard, one.clip))
        close = rivalry(heard, one.clip) < FusionSettings().margin
        counts["value"] += good
        counts["refused"] += heard.kind != "phrase"
        counts["asked"] += heard.kind == "phrase" and close
        counts["asked_right"] += heard.kind == "phrase" and close and good
        counts["wrong"] += heard.kind == "phrase" and not close and not good
    return counts


def _line(name: str, bar: str, ears: Sequence[Counter[str]]) -> str:
    cells = f"{name:46}{bar:>8}"
    if not ears or not ears[0]["clips"]:
        return f"{cells}  {_NO_DATA}"
    cells += f"{ears[0]['clips']:7d}"
    for counts in ears:
        shares = (100 * counts[head] / counts["clips"] for head in _HEADS[1:])
        cells += "  |" + "".join(f"{share:8.1f}" for share in shares)
    return cells


def _rows(
    count: int, people: Path | None, voices: Path | None, noise: Path | None
) -> Iterator[tuple[str, str, list[Said], bool]]:
    """Give name, bar, clips, and whether they are other words, of each set of the table."""
    clean, loud = sets.unseen(count, voices), sets.noises(noise)
    yield "unseen voices, clean", "98.5", clean, False
    for decibels, bar in ((20.0, "98"), (10.0, "96"), (5.0, "92")):
        noisy = sets.changed(clean, noise=loud, snr_db=decibels) if loud else []
        yield f"the same, {decibels:g} {_OVER}", bar, noisy, False
    yield "telephone, mu-law, clean", "97", sets.changed(clean, telephone=True), False
    line = sets.changed(clean, noise=loud, telephone=True) if loud else []
    yield f"telephone, mu-law, 10 {_OVER}", "94", line, False
    close = sets.changed(sets.teens(count), noise=loud) if loud else []
    yield _TEENS, "", close, False
    yield "people: single digits (FSDD development)", "93", sets.people(people, "fsdd"), False
    yield "people: connected numbers, exact", "95", sets.people(people, "numbers"), False
    yield "people: digits", "99", sets.people(people, "digits"), False
    yield "people: yes, no, stop", "99", sets.people(people, "words"), False
    yield _OTHERS, "", sets.other_words(people), True
    yield _NOISE, "", sets.noise_alone(loud), True


def _share(name: str, bar: str, part: int, whole: int) -> str:
    return f"{name:46}{bar:>8}" + (f"{100 * part / whole:10.1f}" if whole else f"  {_NO_DATA}")


def _derived(told: dict[str, Counter[str]]) -> Iterator[str]:
    """Give the rows that are made of others, of the first ear alone."""
    close, loud = told[_TEENS], told[f"the same, 10 {_OVER}"]
    kept = close["clips"] - close["wrong"] - close["refused"]
    yield _share("teens against tens: right or asked back", "99.5", kept, close["clips"])
    yield _share("wrong, taken without asking, 10 dB", "<= 0.7", loud["wrong"], loud["clips"])
    yield _share("right ones, asked back, 10 dB", "<= 5", loud["asked_right"], loud["value"])
    none = told[_OTHERS] + told[_NOISE]
    yield _share("other words and noise: taken", "<= 1", none["wrong"], none["clips"])


def show(count: int, *, people: Path | None, voices: Path | None, noise: Path | None) -> None:
    """Print the table for the built-in ear and, where it loads, pocketsphinx beside it."""
    ear = BuiltinEar(grammar_graph)
    ears: list[Recogniser] = [ear]
    both: Recogniser | None = None
    try:
        ears.append(SphinxEar(grammar_graph))
        both = BothEars(*ears)
    except MissingPartError:
        print("pocketsphinx is not installed; it is left out.")
    found = [name for name in _WHISPERS if importlib.util.find_spec(name)]
    print(
        "\nPercent of clips. value: understood right; wrong: taken without asking and wrong;"
        "\nasked: too close to call; refused: no phrase."
        f"\nVoices: {', '.join(' '.join(pair) for pair in sets.speakers()) or _NO_DATA}"
        + (f"; and the clean clips of {voices.name}." if voices else ".")
        + f"\nNoise: {noise.name if noise else 'computed (pink, hum, engine, workshop)'}."
        + f"\nWhisper: {'weights are not carried' if found else 'not carried'}."
    )
    heads = "".join(f"{head:>8}" for head in _HEADS[1:])
    names = "".join(f"  | {one.name[:31]:31}" for one in ears)
    print(f"\n{'':61}{names}\n{'set':46}{'bar':>8}{'clips':>7}" + f"  |{heads}" * len(ears))
    told: dict[str, Counter[str]] = {}
    clean: list[Said] = []
    for name, bar, said, others in _rows(count, people, voices, noise):
        clean = clean or said
        counts = [counted(one, said, others=others) for one in ears] if said else []
        told[name] = counts[0] if counts else Counter()
        print(_line(name, bar, counts), flush=True)
    print()
    for line in (*_derived(told), *cost_rows(ear, both, clean)):
        print(line)
