"""The table of a study that says what its structures bear, and the load factors of codes by grade."""

from functools import cache
from pathlib import Path
from typing import Annotated

from pydantic import Field

from corridor.clearance.capacity import Factors
from corridor.csv_rows import read_records
from corridor.errors import InputError, nearest
from corridor.study.table import FilePath, Read, Table, Text, Unit, unit_of
from corridor.study.values import Measure, NameOf

__all__ = ["LOAD_FACTORS", "Capacity", "CaseFactors", "capacity_is_possible", "factors_of", "without_factors"]

#: The table of the package.
LOAD_FACTORS = Path(__file__).with_name("load_factors.csv")
#: What structures may be of, by what their strength factors are.
MATERIALS = ("metal", "wood")
_FACTOR = Measure("ratio", 0.1, 10)


@cache
def grades():
    """Return load and strength factors by grade and district; how they are known stands in `told`."""
    found = {}
    for row in read_records(LOAD_FACTORS):
        factors = Factors(*(float(row[name]) for name in ("vertical", "wind", "tension")),
                          {name: float(row[name]) for name in MATERIALS}, row["confidence"])
        of_grade = found.setdefault(row["grade"], {})
        of_grade |= {name.strip(): factors for name in row["districts"].split(";")}
    return found


class CaseFactors(Table):
    """Load and strength factors of one case, instead of those of the grade."""

    case: Text = Field(description="Name of the case.")
    vertical: Annotated[float, Read(_FACTOR)] = Field(1.0, description="On vertical loads.")
    wind: Annotated[float, Read(_FACTOR)] = Field(1.0, description="On the wind on wires and strings.")
    tension: Annotated[float, Read(_FACTOR)] = Field(1.0, description="On what the tension of wires does.")
    strength: Annotated[float, Read(Measure("ratio", 0.05, 1))] = Field(
        1.0, description="On every capacity, whatever its material.")


class Capacity(Table):
    """What the structures bear of their wires, beside which their loads are set."""

    file: FilePath = Field(description=(
        "A CSV file with the columns vertical, transverse, longitudinal (any of the three), and structure (with line "
        "where lines share its name) or framing; wire, where the capacity is that of the point at which this wire "
        "pulls: without it, it is that of the whole structure under all its wires; material, metal or wood, where a "
        "grade is given. What the structure's own weight and the wind on it take must be off already."))
    vertical_unit: Unit.force = unit_of("vertical", "N")
    transverse_unit: Unit.force = unit_of("transverse", "N")
    longitudinal_unit: Unit.force = unit_of("longitudinal", "N")
    grade: Annotated[str | None, Read(NameOf(grades, "grade"))] = Field(None, description=(
        "Grade of construction (docs/districts.md), whose load and strength factors hold in the cases of its "
        "districts. In all other cases they are 1; of a case of a district that is told in not_assessed."))
    factors: tuple[CaseFactors, ...] = Field((), description="Factors of cases of one's own.")


def factors_of(study):
    """Return the factors of every case of a study that has some, by its name.

    Parameters
    ----------
    study : Study
    """
    table = study.capacity
    found = {}
    for case in study.cases:
        own = grades().get(table.grade, {}).get(case.district)
        if own is not None:
            found[case.name] = Factors(own.vertical, own.wind, own.tension, own.strength,
                                       _words(own, f"{table.grade}, {case.district}; {own.told}"))
    for row in table.factors:
        strength = dict.fromkeys(("", *MATERIALS), row.strength)
        found[row.case] = Factors(row.vertical, row.wind, row.tension, strength, _words(row, "given in the study"))
    return found


def without_factors(study):
    """Yield, of every case of a district whose factors neither a grade nor the study gives, its name and words for
    that: what structures bear is compared with loads as they are.

    Parameters
    ----------
    study : Study
    """
    known = {} if study.capacity is None else factors_of(study)
    for case in study.cases if study.capacity is not None else ():
        if case.district is not None and case.name not in known:
            graded = any(case.district in of_grade for of_grade in grades().values())
            yield case.name, (f"no load factors of the district {case.district} are known here: what structures bear "
                              f"is compared with loads as they are; give [[capacity.factors]] of case {case.name!r} by "
                              "the annex or edition in force (1 where its loads hold them)"
                              + ", or a grade that has the district" * graded)


def _words(factors, source):
    return f"vertical {factors.vertical:g}, wind {factors.wind:g}, tension {factors.tension:g} ({source})"


def capacity_is_possible(study):
    """Factors are of cases that there are, once each, and a grade is of some case's district."""
    table = study.capacity
    if table is None:
        return
    names, seen = [case.name for case in study.cases], set()
    for i, row in enumerate(table.factors):
        where = f"capacity.factors.{i}.case"
        if row.case not in names:
            match = nearest(row.case, names)
            yield InputError(study.path, where, repr(row.case), ", ".join(map(repr, names)), match and repr(match))
        elif row.case in seen:
            yield InputError(study.path, where, f"{row.case!r} again", "each case once")
        seen.add(row.case)
    if table.grade is not None and not {case.district for case in study.cases} & {*grades()[table.grade]}:
        yield InputError(study.path, "capacity.grade", f"{table.grade!r}, and no case is of its districts",
                         "a case of " + ", ".join(grades()[table.grade]))
