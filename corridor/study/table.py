"""What every table of the study file shares."""

import re
from typing import Annotated

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, StringConstraints

from corridor.errors import NO_NAMES
from corridor.study.values import Measure, ValueFault, Words

__all__ = ["WIRE_TEMPERATURE", "FilePath", "Read", "Table", "Text"]

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
#: A path relative to the study file.
FilePath = Annotated[str, StringConstraints(min_length=1), Words("a path")]
#: Colder or hotter is a slip, or another unit.
WIRE_TEMPERATURE = Measure("temperature", -80, 400)


class Table(BaseModel):
    """A table of the study: unknown keys are refused, values cannot be changed."""

    model_config = ConfigDict(extra="forbid", frozen=True)
