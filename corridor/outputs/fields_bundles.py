"""Columns that tell of bundles, for the schema."""

__all__ = ["FIELDS"]

FIELDS = (
    ("bundle", "integer", None, "wires per phase"),
    ("bundle_spacing_m", "real", "m", "distance of neighbouring wires of a phase, as given or assumed; null of one "
     "wire"),
    ("bundle_arrangement", "text", None, "how the wires of a phase lie; null where that is not given, and of one wire"),
    ("bundle_m", "real", "m", "how far the nearest wire of the bundle is taken to be from its middle in this measure, "
     "which is taken off `actual_m` already; of two bundles both; 0 of single wires; null at a rounded corner, where "
     "it counts down and aside"),
)
