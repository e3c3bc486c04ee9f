"""What a layer is made of: columns, with their types, units and meanings."""

import re
from dataclasses import dataclass

__all__ = ["SUFFIXES", "Column", "Layer", "digits_of", "rounded"]

#: How the name of a column ends that carries the unit.
SUFFIXES = {"m": "_m", "N": "_n", "N/m": "_n_per_m", "kg/m": "_kg_per_m", "°C": "_c",
            "deg": "_deg", "A": "_a", "K": "_k", "W/m": "_w_per_m", "m²": "_m2", "%": "",
            "ohm/km": "_ohm_per_km", "V/km": "_v_per_km", "kV/m": "_kv_per_m", "kV/cm": "_kv_per_cm", "mA": "_ma",
            "s": "_s", "h": "_h"}
#: Digits behind the point of columns by the end of their names; of some by their names.
_DIGITS = {"": None, "_m": 2, "_n": 0, "_n_per_m": 2, "_kg_per_m": 3, "_c": 1, "_deg": 1, "_a": 1, "_k": 1, "_ma": 2,
           "_w_per_m": 1, "_ohm_per_km": 4, "_v_per_km": 0, "_kv_per_m": 2, "_kv_per_cm": 1, "_s": 2, "_h": 1,
           "_percent": 1, "percent_rts": 1, "percent_of_sagging": 1, "_per_m": None}
_PLACES = {"longitude_deg": 7, "latitude_deg": 7}
#: Names of what is told to millimetres or thousandths; of what keeps six significant digits: it is small, or it
#: is allowed, and a tenth of a degree more would not be.
_FINE = re.compile(r"^(ratio_|of_capacity|rms_m$)|margin.*_m$|_sd_|_offset_m$|_lean_m$")
_KEPT = re.compile(r"ambient|diameter|radius|thickness|spacing|(outer|core)_|^ice|gap|per_m2$|_set_"
                   r"|(^|_)limit_|^clearing_|^permitted_")


@dataclass(frozen=True)
class Column:
    """One column of a layer.

    `type` is "text", "real", "integer", "boolean" or "datetime" (UTC); `unit` is None where the
    value has none; `required` columns are never null.
    """

    name: str
    type: str
    unit: str | None
    doc: str
    required: bool = False

    @property
    def alias(self):
        """The heading a person reads: the name in words, with its unit."""
        words = self.name.removesuffix(SUFFIXES.get(self.unit, "")).replace("_", " ")
        words = words.replace("rts", "RTS").replace("crs", "CRS")
        heading = words[0].upper() + words[1:]
        return f"{heading} [{self.unit}]" if self.unit else heading


@dataclass(frozen=True)
class Layer:
    """One layer: its geometry type ("Point Z", "LineString Z", "Polygon"; None: a plain table) and columns."""

    name: str
    geometry: str | None
    doc: str
    columns: tuple[Column, ...]


def digits_of(name):
    """Return how many digits behind the point a column has in tables, None where six significant ones do.

    By its unit, as a person reads it: centimetres, tenths of a degree, whole newtons; millimetres of margins, and of
    what is measured off with a rule or tells how sure something is.

    >>> digits_of("northing_m"), digits_of("ratio_to_existing"), digits_of("sag_m"), digits_of("rms_m")
    (2, 3, 2, 3)
    >>> digits_of("current_a"), digits_of("limit_temperature_c"), digits_of("diameter_m")
    (1, None, None)
    """
    if name in _PLACES:
        return _PLACES[name]
    if _FINE.search(name):
        return 3
    own = max((end for end in _DIGITS if name.endswith(end)), key=len)
    return None if _KEPT.search(name) else _DIGITS[own]


def rounded(name, value, digits):
    """Return a number of a column with so many digits behind the point. A margin below zero stays below zero.

    >>> rounded("margin_m", -0.0003, 3), rounded("offset_m", -0.003, 2), rounded("margin_m", -0.9351, 3)
    (-0.001, 0.0, -0.935)
    """
    near = round(float(value), digits)
    if near == 0:
        return -(10.0 ** -digits) if value < 0 and "margin" in name else 0.0
    return near
