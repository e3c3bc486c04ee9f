"""The tables [[point_clouds]] of a study: tiles of classified points, and what each class is taken for."""

from typing import Annotated, Literal

from pydantic import Field, StrictBool, StrictInt

from corridor.study import voltages
from corridor.study.table import FilePath, Read, Table, Text
from corridor.study.values import Measure

__all__ = ["KINDS", "CloudGroup", "PointCloud"]

#: Number of a class, as the standard counts them.
_Class = Annotated[StrictInt, Field(ge=0, le=255)]


class CloudGroup(Table):
    """Classes of points that are compared together, by the rules for one category."""

    name: Text = Field(description="Name of the group, as findings have it.")
    classes: tuple[_Class, ...] = Field(min_length=1, description="Numbers of its classes, from 0 to 255.")
    category: Text = Field(description="Category of obstacles whose rules are for it.")
    radius: Annotated[float, Read(Measure("length", 0, 10))] = Field(
        0.5, description="Radius of the upright that each point stands for: half the spacing of the points."
    )


#: The groups of a cloud that names none: the standard classes of ASPRS LAS 1.4, R15, table 17. A crown is as wide as
#: its points; roofs and decks are flat between theirs.
KINDS = (
    CloudGroup(name="vegetation", classes=(3, 4, 5), category="tree", radius=0.0),
    CloudGroup(name="building", classes=(6,), category="building"),
    CloudGroup(name="water", classes=(9,), category="water"),
    CloudGroup(name="rail", classes=(10,), category="rail"),
    CloudGroup(name="road", classes=(11,), category="road"),
    CloudGroup(name="bridge", classes=(17,), category="road"),
)


class PointCloud(Table):
    """Tiles of a classified point cloud, LAS or LAZ. Reading them needs the extra `cloud`."""

    name: Text = Field(description="Unique name.")
    files: tuple[FilePath, ...] = Field(min_length=1, description="The tiles.")
    crs: Text | None = Field(
        None, description="The CRS of the tiles, with that of heights where known. Default: what each tile says."
    )
    vertical_unit: Literal["m", "ft", "us-ft"] | None = Field(
        None, description="Unit of the elevations. Default: what the CRS says, else m."
    )
    groups: tuple[CloudGroup, ...] = Field(
        (), description="What is compared by which rules. Default: the standard classes (docs/point_clouds.md)."
    )
    ground: StrictBool = Field(
        False, description="true: ground points stand for the ground where no raster of `[terrain]` has a value."
    )
    ground_classes: tuple[_Class, ...] = Field((2, 8), description="Classes of bare earth.")
    ground_gap: Annotated[float, Read(Measure("length", 0, 100, above=True))] = Field(
        5.0, description="Longest edge between ground points over which the ground is taken as straight."
    )
    wire_classes: tuple[_Class, ...] = Field((13, 14, 16), description="Classes of wires and what holds them.")
    wire_distance: Annotated[float, Read(Measure("length", 0, 20))] = Field(
        1.5, description=(
            "Wire points within this of where our wires hang in still air, cold or hot, are ours and left out. Others "
            "are compared by the rules for `line`."
        ),
    )
    wire_voltage: Annotated[float | None, Read(voltages.ObstacleVoltage())] = Field(
        None, description="Highest voltage of the lines that other wire points belong to."
    )
    wire_movement: Annotated[float, Read(Measure("length", 0, 50))] = Field(
        0.0, description=(
            "How far wires of others may hang above or below where they were surveyed: they are taken that much higher "
            "where ours pass above, and lower where ours pass below."
        ),
    )
    structure_classes: tuple[_Class, ...] = Field((15,), description="Classes of towers and poles.")
    structure_distance: Annotated[float, Read(Measure("length", 0, 50))] = Field(
        8.0, description="Structure and wire points within this of one of our structures in plan are ours and left out."
    )
    ignored_classes: tuple[_Class, ...] = Field(
        (7, 18, 20, 22), description="Classes that nothing is compared with: noise, points set aside."
    )
    unknown: Literal["strictest", "ignored"] = Field(
        "strictest",
        description=(
            "Points of all other classes, such as unclassified ones. strictest: where one is nearer than any group's "
            "rule allows, that is told as not assessed. ignored: only counted."
        ),
    )
    cluster_distance: Annotated[float, Read(Measure("length", 0.1, 100))] = Field(
        3.0, description="Points too near a wire that are no farther than about this from one another are one finding."
    )
    reach: Annotated[float, Read(Measure("length", 10, 500))] = Field(
        80.0, description="Points farther than this from the line are not looked at."
    )

    @property
    def compared(self):
        """The groups that are compared, with the wires of other lines as the last."""
        lines = [CloudGroup(name="wire", classes=self.wire_classes, category="line")] if self.wire_classes else []
        return (*(self.groups or KINDS), *lines)
