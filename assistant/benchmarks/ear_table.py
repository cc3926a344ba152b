"""The ear's table: what was asked of the built-in ear, and what was measured, a peer beside it."""

from __future__ import annotations

import importlib.util
import sys
from collections import Counter, defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeAlias

from assistant.benchmarks import ear_sets as sets
from assistant.benchmarks.ear_clips import grammar_graph, hear, right, rivalry
from assistant.benchmarks.ear_cost import cost_rows
from assistant.readings.fusion import FusionSettings
from assistant.speech.ear_both import BothEars
from assistant.speech.ear_sphinx import SphinxEar
from assistant.speech.ear_vosk import BuiltinEar
from assistant.speech.parts import MissingPartError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

    from assistant.benchmarks.ear_sets import Said
    from assistant.speech.events import Recogniser

__all__ = ["Listening", "Recordings", "judged", "show"]

_NO_DATA: Final = "no data here"
_OVER: Final = "dB over noise"
_CLEAN: Final = "unseen natural voices, clean"
_TEENS: Final = f"teens against tens, 10 {_OVER}"
_OTHERS: Final = "other words"
_NOISE: Final = "noise alone, volts expected"
_WHISPERS: Final = ("faster_whisper", "whisper", "pywhispercpp")
_HEADS: Final = ("value", "wrong", "asked", "refused")
_TOLD_EVERY: Final = 100
_SMALL: Final = 100

_Row: TypeAlias = "tuple[str, str, list[Said], bool]"
"""Name, bar, clips, and whether they are other words."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Recordings:
    """Folders of recordings, each with its manifest but for ``noise``; None leaves sets out.

    ``voices``: a clean set of unseen natural voices; ``people``: FSDD and people split off the
    training sets; ``packages``: what ``gather people`` wrote.
    """

    voices: Path | None = None
    people: Path | None = None
    packages: Path | None = None
    noise: Path | None = None


@dataclass(frozen=True, slots=True)
class Listening:
    """An ear, and that it hears each ``every``-th clip of a set of more than a hundred."""

    ear: Recogniser
    every: int = 1

    def step(self, said: Sequence[Said]) -> int:
        """Give how many clips on the next one lies that it hears."""
        return self.every if len(said) > _SMALL else 1


def judged(ear: Recogniser, said: Iterable[Said], *, others: bool = False) -> list[Counter[str]]:
    """Hear a set and give for each clip 1 under clips, and value, wrong, asked, refused if so.

    ``wrong`` was taken without asking; ``asked`` is too close to call, ``asked_right`` of these
    with the right value ahead. ``others``: nothing in the set is a phrase.
    """
    found = []
    for one in said:
        heard = hear(ear, one.sound, one.grammar)
        exact = heard.text == one.clip.words
        good = not others and (exact if one.grammar == "numbers" else right(heard, one.clip))
        close = rivalry(heard, one.clip) < FusionSettings().margin
        phrase = heard.kind == "phrase"
        so = {
            "clips": True,
            "value": good,
            "wrong": phrase and not close and not good,
            "asked": phrase and close,
            "asked_right": phrase and close and good,
            "refused": not phrase,
        }
        found.append(Counter(name for name, true in so.items() if true))
    return found


def _with_progress(said: Sequence[Said], told: str) -> Iterator[Said]:
    """Give the clips, and say on stderr how far it is: the whole table takes long."""
    for number, one in enumerate(said):
        if number % _TOLD_EVERY == 0:
            print(f"{told}: {number} of {len(said)}", file=sys.stderr, flush=True)
        yield one


def _line(name: str, bar: str, ears: Sequence[Counter[str]]) -> str:
    cells = f"{name:46}{bar:>8}"
    if not ears or not ears[0]["clips"]:
        return f"{cells}  {_NO_DATA}"
    for counts in ears:
        whole = counts["clips"]
        shares = (f"{100 * counts[head] / whole:8.1f}" if whole else f"{'-':>8}" for head in _HEADS)
        cells += f"  |{whole:7d}" + "".join(shares)
    return cells


def _rows(count: int | None, given: Recordings) -> Iterator[_Row]:
    clean, loud = sets.natural(count, given.voices), sets.noises(given.noise)
    yield _CLEAN, "98.5", clean, False
    for decibels, bar in ((20.0, "98"), (10.0, "96"), (5.0, "92")):
        noisy = sets.changed(clean, noise=loud, snr_db=decibels) if loud else []
        yield f"the same, {decibels:g} {_OVER}", bar, noisy, False
    yield "telephone, mu-law, clean", "97", sets.changed(clean, telephone=True), False
    line = sets.changed(clean, noise=loud, telephone=True) if loud else []
    yield f"telephone, mu-law, 10 {_OVER}", "94", line, False
    close = sets.changed(sets.teens(count, given.voices), noise=loud) if loud else []
    yield _TEENS, "", close, False
    yield "unseen formant voices (espeak-ng), clean", "", sets.formant(count), False
    people = given.people
    yield "people: single digits (FSDD development)", "93", sets.people(people, "fsdd"), False
    yield "people: connected numbers, exact", "95", sets.people(people, "numbers"), False
    yield "people: digits", "99", sets.people(people, "digits"), False
    yield "people: yes, no, stop", "99", sets.people(people, "words"), False
    carried = given.packages
    yield "people of packages *: numbers", "", sets.packaged(carried, "numbers"), False
    yield "people of packages *: joined numbers", "", sets.packaged(carried, "joined"), False
    yield "people of packages *: other words", "", sets.packaged(carried, "others"), True
    yield _OTHERS, "", sets.other_words(people), True
    yield _NOISE, "", sets.noise_alone(loud), True


def _by_voice(
    said: Sequence[Said], ears: Sequence[tuple[int, Sequence[Counter[str]]]]
) -> Iterator[str]:
    """Give a line for each voice of a set, for all held out, and for all of development.

    ``ears``: of each ear its step through ``said``, and what ``judged`` gave.
    """
    groups: dict[str, list[Counter[str]]] = defaultdict(lambda: [Counter() for _ in ears])
    for column, (step, heard) in enumerate(ears):
        for one, counts in zip(said[::step], heard, strict=True):
            voice = one.clip.row.get("voice", "")
            chose = voice in sets.DEVELOPMENT
            groups[f"{voice} *" if chose else voice][column].update(counts)
            groups["all of development *" if chose else "all held out"][column].update(counts)
    for group in sorted(groups, key=lambda name: (name.startswith("all "), name)):
        yield _line(f"  {group}", "", groups[group])


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


def _levels(clean: Sequence[Said]) -> Iterator[str]:
    """Tell what the decibels of the table leave out: they are of the whole clip over the noise."""
    ahead = sets.speech_over_clip(clean)
    name = "speech over its whole clip, quiet and all, dB"
    yield f"{name:46}{'':8}" + (f"  {_NO_DATA}" if ahead is None else f"{ahead:10.1f}")


def _listeners(every: int) -> tuple[list[Listening], Recogniser | None]:
    """Give the built-in ear and, where it loads and is wanted, pocketsphinx; and both as one."""
    ear = BuiltinEar(grammar_graph)
    if not every:
        return [Listening(ear)], None
    try:
        peer = SphinxEar(grammar_graph)
    except MissingPartError:
        print("pocketsphinx is not installed; it is left out.")
        return [Listening(ear)], None
    return [Listening(ear), Listening(peer, every)], BothEars(ear, peer)


def _heads(count: int | None, given: Recordings, listeners: Sequence[Listening]) -> Iterator[str]:
    found = [name for name in _WHISPERS if importlib.util.find_spec(name)]
    named = ", ".join(" ".join(pair) for pair in sets.speakers("flite", "espeak-ng"))
    natural = f"of {given.voices.name}" if given.voices else "flite's, spoken here"
    yield "\nPercent of clips. value: understood right; wrong: taken without asking and wrong;"
    yield "asked: too close to call, of all clips; refused: no phrase."
    yield f"Natural voices: {natural}{f', at most {count} clips' if count else ''}."
    yield f"Spoken here: {named or 'no voice is installed'}."
    noise = given.noise.name if given.noise else "computed (pink, hum, engine, workshop)"
    yield f"Noise: {noise}."
    yield "* never trained on, but figures were chosen with them."
    yield f"Whisper: {'weights are not carried' if found else 'not carried'}."
    for one in listeners[1:]:
        yield f"{one.ear.name} hears one clip in {one.every}, or all of up to {_SMALL}."
    names = "".join(f"  |{one.ear.name[:39]:^39}" for one in listeners)
    heads = "".join(f"{head:>8}" for head in _HEADS)
    yield f"\n{'':54}{names}"
    yield f"{'set':46}{'bar':>8}" + f"  |{'clips':>7}{heads}" * len(listeners)


def show(count: int | None, given: Recordings, *, peer_every: int) -> None:
    """Print the table for the built-in ear and pocketsphinx; how far it is goes to stderr.

    ``count``: at most so many clips a row of voices. pocketsphinx hears one clip in ``peer_every``
    of sets of more than a hundred, and none with 0.
    """
    listeners, both = _listeners(peer_every)
    for line in _heads(count, given, listeners):
        print(line)
    told: dict[str, Counter[str]] = {}
    clean: list[Said] = []
    voices: list[str] = []
    for name, bar, said, others in _rows(count, given):
        heard = []
        for one in listeners:
            part = _with_progress(said[:: one.step(said)], f"{name}, {one.ear.name}")
            heard.append(judged(one.ear, part, others=others))
        sums = [sum(found, Counter()) for found in heard]
        told[name] = sums[0]
        print(_line(name, bar, sums), flush=True)
        if name == _CLEAN:
            clean = said
            steps = [one.step(said) for one in listeners]
            voices = list(_by_voice(said, list(zip(steps, heard, strict=True))))
    print(f"\nThe first row by voice{'' if voices else f': {_NO_DATA}'}")
    costs = cost_rows(listeners[0].ear, both, clean)
    for line in (*voices, "", *_derived(told), *_levels(clean), *costs):
        print(line)
