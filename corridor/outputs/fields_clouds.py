"""Columns of the layer of point clouds, for the schema."""

__all__ = ["CLOUDS", "FIELDS"]

FIELDS = (
    ("cloud", "text", None, "name of the point cloud in the study"),
    ("points", "integer", None,
     "surveyed points: of a cloud and span those that were read, of a clearance those nearer than required, 0 where "
     "the obstacle is no cluster of points"),
    ("compared", "integer", None, "points of the groups that are compared with the wires"),
    ("own_points", "integer", None, "points left out as of our own wires and structures"),
    ("passed", "integer", None, "points of classes that nothing is compared with: ground, noise"),
    ("unknown", "integer", None, "points of classes that the study does not know"),
    ("too_near", "integer", None,
     "points nearer to a wire than required, in whichever option, case and measure has most of each cluster"),
)

#: What the layer is, and its columns.
CLOUDS = (
    "One row per span and point cloud: what became of the points within reach of the span. Near a structure the same "
    "points count for both of its spans.",
    "line! span! cloud! points! compared! own_points! passed! unknown! too_near!")
