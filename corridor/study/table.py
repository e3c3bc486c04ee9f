"""What every table of the study file shares."""

import re
from types import SimpleNamespace
from typing import Annotated

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints

from corridor.errors import NO_NAMES
from corridor.study.values import Measure, UnitOf, ValueFault, Words
from corridor.units import KINDS

__all__ = ["PATH", "WIRE_TEMPERATURE", "FilePath", "Read", "Table", "Text", "Unit", "unit_of"]

#: Characters that are no text.
_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f]")


def _name(text):
    """A text that findings can hold, and that is no order to a terminal."""
    if text in NO_NAMES:
        raise ValueFault("which findings would take for a value that is not known")
    if _CONTROL.search(text):
        raise ValueFault("with a character that controls what shows it")
    return text


#: The mark by which a key reads its value: `Annotated[float, Read(Measure(...))]`.
Read = BeforeValidator
Text = Annotated[str, StringConstraints(min_length=1, max_length=1000, strip_whitespace=True),
                 AfterValidator(_name)]
#: The unit of a column, by what it measures.
Unit = SimpleNamespace(**{kind: Annotated[str | None, Read(UnitOf(kind))] for kind in KINDS if KINDS[kind].unit})
#: The mark of a path.
PATH = Words("a path")
#: A path relative to the study file.
FilePath = Annotated[str, StringConstraints(min_length=1), PATH]
#: Colder or hotter is a slip, or another unit.
WIRE_TEMPERATURE = Measure("temperature", -80, 400)


class Table(BaseModel):
    """A table of the study: unknown keys are refused, values cannot be changed."""

    model_config = ConfigDict(extra="forbid", frozen=True)


def unit_of(column, default):
    """Return the field of a key that says the unit of a column; a cell with a unit of its own goes before it."""
    return Field(None, description=f"Unit of the numbers in {column}. Default: {default}.")
