"""The table [terrain] of a study: the ground, and the surface of what grows or stands on it."""

from typing import Annotated, Literal

from pydantic import Field

from corridor.study.table import FilePath, Read, Table, Text
from corridor.study.values import Measure, ValueFault

__all__ = ["SURFACE", "SurfaceClasses", "Terrain"]

#: What the surface is called in findings, as a layer of obstacles is by its name.
SURFACE = "surface"
#: Numbers that a class may have.
_LOWEST, _HIGHEST = 0, 8999


class _ReadClasses:
    """Reads a table of numbers of classes and categories."""

    accepts = f'a table of classes, whole numbers from {_LOWEST} to {_HIGHEST}, and categories, as {{5 = "tree"}}'

    def __call__(self, value):
        """Return categories by number."""
        if not isinstance(value, dict) or not value:
            raise ValueFault("no table of classes")
        found = {}
        for key, category in value.items():
            if not (isinstance(key, int) or isinstance(key, str) and key.isascii() and key.isdecimal()):
                raise ValueFault(f"the class {key!r} is no whole number")
            if not isinstance(category, str) or not category.strip():
                raise ValueFault(f"the category of class {key} is no text")
            if not _LOWEST <= int(key) <= _HIGHEST or int(key) in found:
                raise ValueFault(f"the class {key} is not between {_LOWEST} and {_HIGHEST}, or is there twice")
            found[int(key)] = category.strip()
        return found


class SurfaceClasses(Table):
    """What the cells of a surface are, by a raster of classes."""

    file: FilePath = Field(description="A raster of whole numbers, on any grid and in any CRS.")
    values: Annotated[dict[int, str], Read(_ReadClasses())] = Field(
        description="The category of obstacles whose rules are for each class. Cells of all other classes, and those "
        "for which the raster has none, are told as not assessed where one is nearer than the strictest rule of any "
        "class allows.")


class Terrain(Table):
    """The ground, and what grows or stands on it."""

    ground: tuple[FilePath, ...] = Field(
        min_length=1,
        description=(
            "Bare earth: rasters (GeoTIFF, Esri grids, virtual rasters and a few more), or an index of tiles (a "
            "GeoPackage of one layer, whose column `location` has their paths, relative to it). Where they overlap, "
            "the first with a value wins."
        ),
    )
    vertical_unit: Literal["m", "ft", "us-ft"] | None = Field(
        None, description=("Unit of the elevations. Default: what the raster's CRS says, else m.")
    )
    surface: tuple[FilePath, ...] = Field((), description=(
        "Surface model (canopy, roofs), likewise, of elevations, not of heights above the ground; its rasters may lie "
        "on another grid and in another CRS than the ground. Of one grid the first with a value wins; cells of several "
        "grids all count. Wires are compared with it where `surface_category` or `surface_classes` says by which rules "
        "(docs/surface.md); else it is told as not assessed."))
    surface_vertical_unit: Literal["m", "ft", "us-ft"] | None = Field(
        None, description="Unit of the elevations of the surface. Default: what its CRS says, else m.")
    surface_category: Text | None = Field(None, description=(
        "Category of obstacles whose rules are for all that the surface has above the ground: of what may stand there, "
        "that whose rules ask the most. Either this or `surface_classes`."))
    surface_classes: SurfaceClasses | None = Field(None, description="Categories by a raster of classes.")
    surface_cleared: FilePath | None = Field(None, description=(
        "A file of polygons in which nothing stands any more since the flight: cells whose middle lies in one are "
        "passed; where its column `surface_category` names a category of the surface, for that category alone. "
        "`corridor plan` writes one."))
    surface_above: Annotated[float, Read(Measure("length", 0.1, 20))] = Field(2.0, description=(
        "A cell of the surface that is higher than this above the ground stands there and is compared; lower ones are "
        "ground, for which the rule for the ground is."))
    surface_wire_distance: Annotated[float, Read(Measure("length", 0, 20))] = Field(1.0, description=(
        "Cells within this of one curve in which a wire of ours may hang in still air, cold or hot, are taken for it "
        "and left out where some lie in 7 or more of 20 equal parts of the span; a doubt tells of them. 0: none is."))
    surface_structure_distance: Annotated[float, Read(Measure("length", 0, 50))] = Field(8.0, description=(
        "Cells within this of one of our structures in plan are taken for ours and left out; a doubt tells of those "
        "that are nearer to a wire than the rules allow."))
    surface_reach: Annotated[float, Read(Measure("length", 10, 500))] = Field(
        80.0, description="Cells farther than this from the line are not looked at.")

    @property
    def compares_surface(self):
        """Whether wires are compared with a surface."""
        return bool(self.surface) and not (self.surface_category is None and self.surface_classes is None)

    @property
    def categories(self):
        """The categories by whose rules the surface is compared, a set."""
        told = {} if self.surface_classes is None else self.surface_classes.values
        return {self.surface_category, *told.values()} - {None} if self.compares_surface else set()
