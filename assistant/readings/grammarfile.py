"""The grammar files: their shape, and the loader that validates them.

A file of kind ``grammar`` holds sentences; one of kind ``parts`` holds lists and rules that
grammars use. Names resolve in the file itself first, then in the files it uses.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib import resources
from typing import Annotated, Any, Literal, TypeAlias

import yaml
from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    PrivateAttr,
    ValidationError,
    model_validator,
)

from assistant.errors import GivenError, MisuseError
from assistant.readings.reading import Quantity, Unit
from assistant.readings.template import Node, parse_template, references

__all__ = [
    "GrammarFile",
    "Measure",
    "Sentence",
    "file_names",
    "grammar_names",
    "load_file",
    "load_grammar",
    "validate_file",
]

Gives: TypeAlias = Literal["value", "unstable", "open_line", "beep", "no_beep", "seen", "command"]


def _checked(text: str) -> str:
    parse_template(text)
    return text


Template: TypeAlias = Annotated[str, AfterValidator(_checked)]


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Sentence(_Frozen):
    """One template and what it gives.

    ``number`` fixes the number ("half a volt"); ``answer`` names the command where no slot carries
    it, is "range" where two numbers stand without a word that says that they jump, and "implied"
    where the words name no unit ("nothing").
    """

    say: Template
    gives: Gives
    number: str | None = None
    unit: Unit | None = None
    answer: str | None = None
    _node: Node = PrivateAttr()

    def model_post_init(self, _context: Any) -> None:
        """Read the template once."""
        self._node = parse_template(self.say)

    @property
    def node(self) -> Node:
        """The template, read."""
        return self._node


class Measure(_Frozen):
    """Which meter quantity a grammar reads, and how far numbers may go (in the base unit).

    Beyond ``usual`` the program asks whether a decimal point was lost; beyond ``limit`` no
    handheld meter shows it. ``given`` names the kind of answer ("ohms"), ``expects`` says what
    is wanted; both stand in sentences for people.
    """

    quantities: tuple[Quantity, ...]
    unit: Unit | None = None
    usual: Annotated[float, Field(gt=0)] | None = None
    limit: Annotated[float, Field(gt=0)] | None = None
    signed: bool = True
    given: str = ""
    expects: str


class GrammarFile(_Frozen):
    """One validated grammar file."""

    name: str
    kind: Literal["grammar", "parts"]
    about: str
    uses: tuple[str, ...] = ()
    measure: Measure | None = None
    lists: dict[str, dict[str, Template]] = Field(default_factory=dict)
    rules: dict[str, Template] = Field(default_factory=dict)
    numbers: dict[str, dict[str, int]] = Field(default_factory=dict)
    written: dict[str, str] = Field(default_factory=dict)
    sentences: tuple[Sentence, ...] = ()
    _nodes: dict[str, Node] = PrivateAttr(default_factory=dict)

    @model_validator(mode="after")
    def _shape(self) -> GrammarFile:
        if (self.kind == "grammar") != bool(self.sentences):
            raise ValueError("a grammar has sentences, a file of parts has none")
        both = self.lists.keys() & self.rules.keys()
        if both:
            raise ValueError(f"{sorted(both)} stand both as lists and as rules")
        return self

    def model_post_init(self, _context: Any) -> None:
        """Read the rules once."""
        self._nodes.update({name: parse_template(text) for name, text in self.rules.items()})

    def find(self, name: str) -> tuple[GrammarFile, Node | Mapping[str, Node]]:
        """Find a rule or list and the file that holds it; raise ``GivenError`` if none does."""
        if name in self._nodes:
            return self, self._nodes[name]
        if name in self.lists:
            return self, {key: parse_template(text) for key, text in self.lists[name].items()}
        for used in self.uses:
            try:
                return load_file(used).find(name)
            except GivenError:
                continue
        raise GivenError(
            f"Grammar file {self.name!r} refers to ${name}, which is neither there nor in "
            f"{', '.join(self.uses) or 'a file that it uses'}.",
            next_step="Correct the name or add the list.",
        )


def _no_cycle(file: GrammarFile, name: str, above: tuple[tuple[str, str], ...]) -> None:
    owner, found = file.find(name)
    here = (owner.name, name)
    if here in above:
        raise GivenError(
            f"Rule ${name} of grammar file {owner.name!r} refers to itself.",
            next_step="Write the repeats out: every language is finite.",
        )
    nodes = list(found.values()) if isinstance(found, Mapping) else [found]
    for node in nodes:
        for inner in references(node):
            _no_cycle(owner, inner, (*above, here))


def validate_file(raw: object, *, where: str) -> GrammarFile:
    """Validate the content of a grammar file; raise ``GivenError`` saying where it is wrong."""
    try:
        return GrammarFile.model_validate(raw)
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"])
        raise GivenError(
            f"Grammar file {where}, at {place or 'the top'}: {first['msg']}.",
            next_step="Correct the file.",
        ) from error


@cache
def file_names() -> tuple[str, ...]:
    """Names of all grammar files, grammars and parts."""
    return tuple(
        sorted(
            entry.name.removesuffix(".yaml")
            for entry in resources.files("grammars").iterdir()
            if entry.name.endswith(".yaml")
        )
    )


@cache
def load_file(name: str) -> GrammarFile:
    """Load and validate one file; raise ``MisuseError`` when there is none of that name."""
    if name not in file_names():
        raise MisuseError(
            f"There is no grammar named {name!r}.",
            next_step=f"Use one of {', '.join(file_names())}.",
        )
    text = (resources.files("grammars") / f"{name}.yaml").read_text(encoding="utf-8")
    loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
    file = validate_file(yaml.load(text, Loader=loader), where=f"{name}.yaml")  # noqa: S506
    if file.name != name:
        raise GivenError(
            f"Grammar file {name}.yaml calls itself {file.name!r}.",
            next_step="Give file and name the same name.",
        )
    for rule in (*file.rules, *file.lists):
        _no_cycle(file, rule, ())
    for sentence in file.sentences:
        for inner in references(sentence.node):
            file.find(inner)
    return file


def load_grammar(name: str) -> GrammarFile:
    """Load a file that holds sentences; raise ``MisuseError`` when it is one of parts."""
    file = load_file(name)
    if file.kind != "grammar":
        raise MisuseError(
            f"{name!r} holds parts, not sentences.",
            next_step=f"Use one of {', '.join(grammar_names())}.",
        )
    return file


@cache
def grammar_names() -> tuple[str, ...]:
    """Names of the grammars that can be open."""
    return tuple(name for name in file_names() if load_file(name).kind == "grammar")
