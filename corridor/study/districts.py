"""Load districts: the weather that codes prescribe for the strength of lines, from a table of facts.

What a code takes from its maps the study must give; what the code fixes it must not.
"""

from dataclasses import dataclass
from functools import cache
from pathlib import Path

from corridor.csv_rows import read_records
from corridor.errors import InputError
from corridor.units import quantity

__all__ = ["DISTRICTS", "ICE_KEYS", "District", "districts", "districts_are_heeded", "filled", "find_district"]

#: The table of the package.
DISTRICTS = Path(__file__).with_name("load_districts.csv")
#: What a district says of a case: key of the case, and kind of quantity.
KEYS = {"temperature": "temperature", "ice": "length", "ice_weight": "load",
        "ice_weight_per_diameter": "load_per_diameter", "ice_density": "density", "wind": "pressure",
        "constant": "load"}
#: How a cell says that the study must give the value.
GIVEN = "given"
#: Keys that say how much ice there is: its thickness, or its weight. Where a district asks for `ice`, either will do.
ICE_KEYS = ("ice", "ice_weight", "ice_weight_per_diameter")


@dataclass(frozen=True)
class District:
    """A row of the table: `fixed` values in SI by key of a case, `asked` keys that the study gives; and its source."""

    name: str
    fixed: dict[str, float]
    asked: tuple[str, ...]
    authority: str
    edition: str
    clause: str
    confidence: str
    note: str


@cache
def districts() -> dict[str, District]:
    """Return every district by name."""
    return {row["district"]: _district(row) for row in read_records(DISTRICTS)}


def _district(row):
    fixed = {key: quantity(row[key], kind) for key, kind in KEYS.items() if row[key] not in ("", GIVEN)}
    # What the code is silent about there is none of.
    silent = ("wind", "constant") if row["ice"] == GIVEN else (*ICE_KEYS, "wind", "constant")
    fixed |= {key: 0.0 for key in silent if not row[key]}
    asked = tuple(key for key in KEYS if row[key] == GIVEN)
    return District(row["district"], fixed, asked, *(row[key] for key in ("authority", "edition", "clause",
                                                                          "confidence", "note")))


def find_district(name: str) -> District:
    """Return the district of that name; KeyError where there is none."""
    return districts()[name]


def filled(case):
    """Return the keys of a case, as they were read, with what its district fixes and the study does not say."""
    name = case.get("district") if isinstance(case, dict) else None
    if not isinstance(name, str) or name not in districts():
        return case
    return {**districts()[name].fixed, **case}


def districts_are_heeded(study):
    """A case has a temperature; one of a district gives what that asks for and nothing that it fixes; a constant is for
    tension alone, on a load that is the same all over."""
    raw = study.tables.get("cases", ())
    for i, case in enumerate(study.cases):
        where = f"cases.{i}"
        if case.district is None:
            if case.temperature is None:
                yield InputError(study.path, f"{where}.temperature", "nothing", "a temperature, or a district")
        else:
            yield from _against_district(study, where, raw[i], find_district(case.district))
        if case.constant and set(case.checks) != {"tension"}:
            yield InputError(study.path, f"{where}.checks", f"{', '.join(case.checks)} under a constant load",
                             "tension alone: codes add the constant for tension, never for clearance; clearance has "
                             "cases of its own")
        if case.constant and not (case.icy or case.wind):
            yield InputError(study.path, f"{where}.constant", f"{case.constant:g} N/m without ice or wind",
                             "a constant that goes with ice or wind")
        if case.constant and (case.ice_spans != "all" or case.ice_on or case.ice_off_wire is not None):
            yield InputError(study.path, f"{where}.constant", f"{case.constant:g} N/m on uneven ice",
                             "a constant on ice that is the same all over")


def _against_district(study, where, given, district):
    """What a case says against its district, or fails to say."""
    for key, value in district.fixed.items():
        if key in given:
            yield InputError(study.path, f"{where}.{key}", repr(given[key]),
                             f"nothing: the district {district.name} fixes it ({value:.6g}, {district.clause}); or a "
                             "case without district")
    for key in district.asked:
        if not given.keys() & {*(ICE_KEYS if key == "ice" else (key,))}:
            yield InputError(study.path, f"{where}.{key}", "nothing",
                             f"the value for this line: the district {district.name} leaves it to maps or annexes "
                             f"({district.authority}, {district.clause})")

