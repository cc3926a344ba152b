"""All that the dialogue says of itself, from one validated data file."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from string import Formatter
from typing import TYPE_CHECKING, Annotated, Final

import yaml
from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from assistant.errors import MisuseError
from assistant.knowledge.schema import model_error

if TYPE_CHECKING:
    from assistant.conversation.events import Channel

__all__ = ["PhraseFile", "Phrasebook", "load_phrases", "refusal", "slots_of"]

_WORD: Final = "w_"


def slots_of(template: str) -> frozenset[str]:
    """Name the slots of a template."""
    return frozenset(name for _, name, _, _ in Formatter().parse(template) if name)


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class _Pair(_Frozen):
    """One phrase for the ear and for the eye; both have the same slots."""

    spoken: Annotated[str, Field(min_length=1)]
    typed: Annotated[str, Field(min_length=1)]


class PhraseFile(_Frozen):
    """The content of ``phrases.yaml``.

    ``always_acknowledge`` names the cautions that are acknowledged each time they come up,
    ``first_caution`` the one that opens every case.
    """

    always_acknowledge: frozenset[str]
    first_caution: str
    phrases: Mapping[str, Annotated[str, Field(min_length=1)] | _Pair]
    words: Mapping[str, str]
    words_for_text: Mapping[str, str]

    @model_validator(mode="after")
    def _words_exist(self) -> PhraseFile:
        for key in self.phrases:
            for template in self.templates(key):
                for slot in slots_of(template):
                    if slot.startswith(_WORD) and slot.removeprefix(_WORD) not in self.words:
                        raise ValueError(f"phrase {key!r} asks for the unknown word {slot!r}")
        if unknown := self.words_for_text.keys() - self.words.keys():
            raise ValueError(f"words_for_text has words that words lacks: {sorted(unknown)}")
        return self

    def templates(self, key: str) -> tuple[str, ...]:
        """Give the template of ``key``, or both of them."""
        entry = self.phrases[key]
        return (entry,) if isinstance(entry, str) else (entry.spoken, entry.typed)


@cache
def load_phrases() -> PhraseFile:
    """Read and validate the package's phrases; raise ``MisuseError`` when they are not valid."""
    text = files("assistant.conversation").joinpath("phrases.yaml").read_text("utf-8")
    try:
        return PhraseFile.model_validate(yaml.safe_load(text))
    except ValidationError as error:
        raise MisuseError(
            f"The data file phrases.yaml is not valid: {model_error(error)}.",
            next_step="Mend the file.",
        ) from error


class Phrasebook:
    """Fills phrases for one channel: words are said on voice, and quoted where they are read."""

    def __init__(self, channel: Channel) -> None:
        self._file = load_phrases()
        self._spoken = channel == "voice"
        chosen = dict(self._file.words)
        if channel == "text":
            chosen.update(self._file.words_for_text)
        quote = "" if self._spoken else "'"
        self._words = {f"{_WORD}{name}": f"{quote}{w}{quote}" for name, w in chosen.items()}

    def word(self, name: str) -> str:
        """Give the word of a command as this channel wants it."""
        return self._words[f"{_WORD}{name}"]

    def say(self, key: str, **slots: str) -> str:
        """Fill the phrase ``key``; raise ``MisuseError`` unless exactly its slots are given."""
        if key not in self._file.phrases:
            raise MisuseError(f"There is no phrase {key!r}.", next_step="Add it to phrases.yaml.")
        template = self._file.templates(key)[0 if self._spoken else -1]
        wanted = {slot for slot in slots_of(template) if not slot.startswith(_WORD)}
        allowed = frozenset().union(*map(slots_of, self._file.templates(key)))
        if not wanted <= slots.keys() <= allowed:
            raise MisuseError(
                f"The phrase {key!r} takes {sorted(allowed)}, not {sorted(slots)}.",
                next_step="Give every slot of the phrase and no other.",
            )
        return template.format(**self._words, **slots)


def refusal(key: str) -> str:
    """Fill a phrase that is said where no case, and so no channel, is open."""
    return Phrasebook("machine").say(key)
