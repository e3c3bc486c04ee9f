"""Columns and layers of surveyed wires, for the schema."""

__all__ = ["SURVEYED_MEANINGS", "SURVEYED_SPANS", "SURVEYED_WIRES", "SURVEY_FIELDS"]

SURVEY_FIELDS = (
    ("survey", "text", None, "name of the survey in the study"),
    ("survey_time", "text", None, "when it was surveyed, as the study says"),
    ("points_near", "integer", None, "points within 1.2 m of the wire"),
    ("rms_m", "real", "m", "root mean square of how far the points that count are from the wire, in one direction"),
    ("catenary_constant_sd_m", "real", "m", "its standard deviation if the errors of points are independent: a floor, "
     "since those of one flight are not"),
    ("sag_difference_m", "real", "m", "sag as surveyed less that of the line as the study describes it, in the same "
     "state: positive where the wire hangs lower"),
    ("tension_difference_n", "real", "N", "horizontal tension as surveyed less that of the line as described"),
    ("start_elevation_m", "real", "m", "elevation of the wire's start as surveyed"),
    ("end_elevation_m", "real", "m", "likewise of its end"),
    ("start_raise_m", "real", "m", "that of the start less that of the line as described, in the same state"),
    ("end_raise_m", "real", "m", "likewise at its end"),
    ("used", "boolean", None, "whether the check starts from it"),
    ("wires_fitted", "integer", None, "wires of the span that were looked for"),
    ("wires_used", "integer", None, "those from which the check starts"),
)

#: Geometry, what a row is, and its columns.
SURVEYED_WIRES = (
    "LineString Z",
    "One row per survey, span and wire: the wire that runs through its points, from clamp to clamp.",
    """survey! survey_time line! section! span! wire! kind! points! points_near! rms_m catenary_constant_m
    catenary_constant_sd_m horizontal_tension_n sag_m swing_deg temperature_c sag_difference_m tension_difference_n
    start_elevation_m end_elevation_m start_raise_m end_raise_m used! reason note""")
SURVEYED_SPANS = (
    "LineString Z",
    "One row per span with surveyed wires: its chord.",
    """line! section! span! wires_fitted! wires_used! sag_difference_m horizontal_tension_n temperature_c reason
    note""")

#: What fields of other layers mean there.
SURVEYED_MEANINGS = {
    "points": "points that lie on it",
    "horizontal_tension_n": "horizontal tension of one wire as surveyed, across the load; of a span the mean of wires",
    "sag_m": "maximum drop of the wire below its chord as surveyed, along the load",
    "swing_deg": "angle of its plane from the vertical, positive to the right",
    "temperature_c": "temperature of the wire at the survey, as given or by the heat balance",
    "reason": "why the check does not start from it; null where it does",
    "note": "what is unlike the other spans of the wire",
}
