"""Which column of somebody's layer is which: by its name alone, and its unit by what the name ends in."""

import re
from typing import NamedTuple

__all__ = ["CLEARANCE_COLUMNS", "PLACES", "STRUCTURE_COLUMNS", "Guess", "find_column", "plain"]

#: Names by which columns of structures go, the likeliest first: common practice, no source.
STRUCTURE_COLUMNS = {
    "structure": ("structure", "structure_no", "structure_id", "struct_no", "struct_id", "str_no", "str_num", "tower",
                  "tower_no", "tower_id", "pole", "pole_no", "pole_id", "mast", "mast_no", "support", "support_no",
                  "name", "ref", "number", "num", "no", "nr", "label", "id", "asset_id"),
    "line": ("line", "line_name", "line_id", "line_ref", "line_no", "route", "feeder"),
    "order": ("order", "order_no", "sequence", "seq", "station", "chainage", "position", "pos", "sort"),
    "role": ("role", "structure_type", "struct_type", "tower_type", "pole_type", "support_type", "line_attachment",
             "type", "function", "kind", "class"),
    "base_elevation": ("base_elevation", "base_elev", "base_z", "ground_elevation", "ground_elev", "ground_level",
                       "foot_elevation"),
    "height": ("structure_height", "tower_height", "pole_height", "struct_height", "height", "hgt", "ht"),
    "attachment": ("attachment_height", "attach_height", "conductor_height", "wire_height", "crossarm_height"),
}
#: The same for obstacles. An elevation that does not say of what is that of the ground perhaps, and not taken.
CLEARANCE_COLUMNS = {
    "category": ("category", "class", "fclass", "feature_type", "object_type", "type", "kind"),
    "height": ("height", "hgt", "building_height", "roof_height", "tree_height", "canopy_height", "object_height",
               "height_above_ground"),
    "elevation": ("top_elevation", "top_elev", "roof_elevation", "wire_elevation", "wire_z", "conductor_z"),
    "voltage": ("voltage", "kv", "volt", "volts", "nominal_voltage", "line_voltage", "operating_voltage"),
    "radius": ("radius", "half_width", "crown_radius"),
    "id": ("osm_id", "full_id", "ref", "name", "objectid", "id", "gid"),
    "bridge": ("bridge",),
}
#: Columns of places in tables without geometry: x, y, and whether they are degrees.
PLACES = (("x", "y", False), ("easting", "northing", False), ("e", "n", False), ("east", "north", False),
          ("x_coord", "y_coord", False), ("point_x", "point_y", False), ("longitude", "latitude", True),
          ("lon", "lat", True), ("long", "lat", True))
#: How names say the unit of a column.
_UNITS = {"m": "m", "metre": "m", "metres": "m", "meter": "m", "meters": "m", "ft": "ft", "feet": "ft", "usft": "us-ft",
          "ftus": "us-ft", "kv": "kV", "v": "V"}


class Guess(NamedTuple):
    """A column, and the unit that its name says, None where it says none."""

    column: str
    unit: str | None


def plain(name):
    """Return a name in small letters and digits, its parts joined by one underscore.

    >>> plain("Pole No."), plain("TowerHeight (ft)")
    ('pole_no', 'tower_height_ft')
    """
    apart = re.sub(r"(?<=[a-z])(?=[A-Z])", "_", str(name))
    return re.sub(r"[^a-z0-9]+", "_", apart.lower()).strip("_")


def find_column(fields, names):
    """Yield the columns that go by one of some names, the likeliest first, as Guess.

    >>> list(find_column(("OBJECTID", "HEIGHT_FT"), ("height",)))
    [Guess(column='HEIGHT_FT', unit='ft')]
    """
    read = [(field, plain(field)) for field in fields]
    for name in names:
        for field, own in read:
            head, _, tail = own.rpartition("_")
            if own == name:
                yield Guess(field, _UNITS.get(name))
            elif head == name and tail in _UNITS:
                yield Guess(field, _UNITS[tail])
