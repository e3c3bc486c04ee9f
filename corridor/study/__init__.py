"""The study file: one TOML file that names all a run needs, checked before anything is computed.

>>> from corridor.study import load_study
>>> study = load_study("study.toml")                                          # doctest: +SKIP
>>> study.study.voltage, study.options[0].stringing[0].limit.kind             # doctest: +SKIP
(110000.0, 'share')
"""

from corridor.study.load import StudyError, load_study
from corridor.study.reference import reference, write_reference
from corridor.study.schema import (
    Framings,
    Obstacle,
    Rating,
    RightOfWay,
    RuleChoice,
    StructureColumns,
    Structures,
    Study,
    StudySection,
    Terrain,
)
from corridor.study.values import Limit
from corridor.study.wires import Case, ConductorEntry, Option, ShieldWire, Stringing

__all__ = [
    "Case",
    "ConductorEntry",
    "Framings",
    "Limit",
    "Obstacle",
    "Option",
    "Rating",
    "RightOfWay",
    "RuleChoice",
    "ShieldWire",
    "Stringing",
    "StructureColumns",
    "Structures",
    "Study",
    "StudyError",
    "StudySection",
    "Terrain",
    "load_study",
    "reference",
    "write_reference",
]
