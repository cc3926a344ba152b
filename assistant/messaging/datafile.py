"""Reading the validated data files of this house."""

from __future__ import annotations

import re
from importlib.resources import files
from typing import Annotated, TypeVar

import yaml
from pydantic import AfterValidator, BaseModel, ValidationError

from assistant.errors import MisuseError
from assistant.knowledge.schema import model_error

__all__ = ["Pattern", "read_data"]

_Model = TypeVar("_Model", bound=BaseModel)


def _compiles(text: str) -> str:
    re.compile(text)
    return text


Pattern = Annotated[str, AfterValidator(_compiles)]
"""A regular expression."""


def read_data(name: str, model: type[_Model]) -> _Model:
    """Read and validate a data file of this house; raise ``MisuseError`` when it is not valid."""
    text = files("assistant.messaging").joinpath(f"data/{name}").read_text("utf-8")
    try:
        return model.model_validate(yaml.safe_load(text))
    except ValidationError as error:
        raise MisuseError(
            f"The data file {name} is not valid: {model_error(error)}.",
            next_step="Mend the file.",
        ) from error
