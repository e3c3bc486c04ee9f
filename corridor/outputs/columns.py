"""What a layer is made of: columns, with their types, units and meanings."""

from dataclasses import dataclass

__all__ = ["SUFFIXES", "Column", "Layer", "digits_of"]

#: How the name of a column ends that carries the unit.
SUFFIXES = {"m": "_m", "N": "_n", "N/m": "_n_per_m", "kg/m": "_kg_per_m", "°C": "_c",
            "deg": "_deg", "A": "_a", "K": "_k", "W/m": "_w_per_m", "m²": "_m2", "%": "",
            "ohm/km": "_ohm_per_km", "V/km": "_v_per_km", "kV/m": "_kv_per_m", "kV/cm": "_kv_per_cm", "mA": "_ma",
            "s": "_s", "h": "_h"}
_PLACES = {"easting_m": 2, "northing_m": 2, "longitude_deg": 7, "latitude_deg": 7}


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

    Those lose metres of a northing, and tell of a ratio near nothing in powers of ten.

    >>> digits_of("northing_m"), digits_of("ratio_to_existing"), digits_of("sag_m")
    (2, 3, None)
    """
    return 3 if name.startswith(("ratio_", "of_capacity")) else _PLACES.get(name)
