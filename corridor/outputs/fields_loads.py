"""Columns of the layer of loads on structures, for the schema."""

__all__ = ["FIELDS", "LOADS"]

FIELDS = (
    ("section_side", "text", None, "at a strain structure: whether the section leads ahead of it or back; null where "
     "the wire runs through"),
    ("vertical_n", "real", "N", "pull of the wire on the structure downward, string included; negative lifts. At "
     "a lifted string: what would hold it down"),
    ("transverse_n", "real", "N", "pull along the crossarm, positive to the right of the line"),
    ("longitudinal_n", "real", "N", "pull along the line, positive ahead"),
    ("wind_span_m", "real", "m", "length of wire whose wind the structure carries"),
    ("weight_span_m", "real", "m", "length of wire whose weight the structure carries, in this case"),
    ("string_swing_deg", "real", "deg", "swing of the string across the line, positive to the right; null where "
     "held, and where it is lifted"),
    ("uplift", "boolean", None, "true where the wire pulls a suspension string down by less than half of its weight, "
     "or lifts it"),
    ("ratio_vertical", "real", None, "vertical pull over that of the existing wire in its own worst case"),
    ("ratio_transverse", "real", None, "transverse pull, likewise"),
    ("ratio_longitudinal", "real", None, "longitudinal pull, likewise; where the wire runs through, the horizontal "
     "tension of its tighter span, for there the structure is made for a wire that breaks"),
    ("ratio_to_existing", "real", None, "greatest of the three; null where no option is existing"),
    ("above_existing", "boolean", None, "true where it is above 1.00: not a structural design, a reason to make one"),
    ("lifted", "boolean", None, "true where the wire has lifted a suspension string: it hangs slack, or above "
     "its hinge"),
)

#: What the layer is, and its columns.
LOADS = (
    "One row per structure, wire, section, option and case: what the wire does to the structure, beside what the "
    "existing wire does. Not a structural design.",
    """line! structure! role wire! section section_side option! case! vertical_n! transverse_n longitudinal_n
    wind_span_m weight_span_m string_swing_deg uplift lifted! ratio_vertical ratio_transverse ratio_longitudinal
    ratio_to_existing above_existing""")
