"""The scenario of the demonstration, validated, and an ear that knows its recordings."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import yaml
from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from assistant.conversation.events import Alternative, Heard
from assistant.errors import GivenError
from assistant.knowledge.schema import Complaint, Installation, model_error
from assistant.readings.reading import reading_from_json

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.commands.recorded import Ear

__all__ = ["HERE", "Answer", "Scenario", "load_scenario", "scenario_ear"]

HERE: Final = Path(__file__).parent


class _Strict(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Party(_Strict):
    """An invented workshop or customer with a telephone number reserved for fiction."""

    name: str
    telephone: str = Field(pattern=r"^555-01\d\d$")
    says: str = ""


class HiddenCar(_Strict):
    """Which car of ``assistant.practice`` gave the answers, and the fault in it."""

    kind: str
    seed: int
    fault: str


class Spoken(_Strict):
    """Words and the recording of them, relative to the repository's root."""

    words: str
    file: str


class Answer(Spoken):
    """What the car gave for a check, in the form of the machine interface, and its words."""

    reading: dict[str, Any]

    @field_validator("reading")
    @classmethod
    def _is_one(cls, raw: dict[str, Any]) -> dict[str, Any]:
        reading_from_json(raw)
        return raw


class Scenario(_Strict):
    """One case. ``answers`` are by check id, ``after`` those of the mended car.

    ``spoken`` holds what is said to cautions, questions and the repair: ready, yes, done.
    """

    workshop: Party
    customer: Party
    vehicle: str
    car: HiddenCar
    seed: int
    complaint: Complaint
    installation: Installation
    spoken: dict[str, Spoken]
    answers: dict[str, Answer]
    after: dict[str, Answer]

    @property
    def everything_spoken(self) -> dict[str, Spoken]:
        """All words with their recordings, by the keys of ``run_recorded_case``."""
        after = {f"{check}/after": answer for check, answer in self.after.items()}
        return {**self.spoken, **self.answers, **after}

    def recordings(self, root: Path) -> dict[str, Path]:
        """Give each recording by its key; ``root`` is the repository's."""
        return {key: root / said.file for key, said in self.everything_spoken.items()}


def load_scenario(path: Path = HERE / "scenario.yaml") -> Scenario:
    """Read the scenario; raise ``GivenError`` where it is not valid."""
    try:
        return Scenario.model_validate(yaml.safe_load(path.read_text(encoding="utf-8")))
    except ValidationError as error:
        raise GivenError(
            f"{path.name} is not valid: {model_error(error)}.",
            next_step="Mend it, or make it anew: python -m demo.make_scenario.",
        ) from error
    except (OSError, UnicodeDecodeError, yaml.YAMLError) as error:
        raise GivenError(
            f"{path.name} cannot be read: {' '.join(str(error).split())}.",
            next_step="Make it anew: python -m demo.make_scenario.",
        ) from error


def scenario_ear(scenario: Scenario, root: Path, ear: Ear, tell: Callable[[str], object]) -> Ear:
    """Give ``ear`` with typed words in place of recordings that are missing.

    Each such word is announced with ``tell``, so that nobody takes it for something heard.
    """
    words = {root / said.file: said.words for said in scenario.everything_spoken.values()}

    def hear(path: Path, grammar: str) -> Heard:
        if path.is_file():
            return ear(path, grammar)
        tell(f"There is no recording {path.name}; its words are given as if typed.")
        return Heard(alternatives=(Alternative(text=words[path]),))

    return hear
