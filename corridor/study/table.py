"""What every table of the study file shares."""

from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict, StringConstraints

from corridor.study.values import Measure, Words

__all__ = ["WIRE_TEMPERATURE", "FilePath", "Read", "Table", "Text"]

#: The mark by which a key reads its value: `Annotated[float, Read(Measure(...))]`.
Read = BeforeValidator
Text = Annotated[str, StringConstraints(min_length=1, strip_whitespace=True)]
#: A path relative to the study file.
FilePath = Annotated[str, StringConstraints(min_length=1), Words("a path")]
#: Colder or hotter is a slip, or another unit.
WIRE_TEMPERATURE = Measure("temperature", -80, 400)


class Table(BaseModel):
    """A table of the study: unknown keys are refused, values cannot be changed."""

    model_config = ConfigDict(extra="forbid", frozen=True)
