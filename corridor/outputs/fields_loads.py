"""Columns of the layer of loads on structures, for the schema."""

__all__ = ["CAPACITY", "FIELDS", "LOADS"]

FIELDS = (
    ("section_side", "text", None, "at a strain structure: whether the section leads ahead of it or back; null where "
     "the wire runs through"),
    ("vertical_n", "real", "N", "pull of the wire on the structure downward, string included; negative lifts. At "
     "a lifted string: what would hold it down. Where it is not known what loads a wire has seen, vertical, transverse "
     "and longitudinal pull are those at the end of its history at which they are greater together, or where uplift is "
     "true the vertical one less; shares, ratios, uplift and swings are the worst of both ends"),
    ("transverse_n", "real", "N", "pull along the crossarm, positive to the right of the line"),
    ("longitudinal_n", "real", "N", "pull along the line, positive ahead"),
    ("wind_span_m", "real", "m", "length of wire whose wind the structure carries"),
    ("weight_span_m", "real", "m", "length of wire whose weight the structure carries, in this case"),
    ("string_swing_deg", "real", "deg", "swing of the string across the line, positive to the right; null where "
     "held, and where it is lifted"),
    ("uplift", "boolean", None, "true where the wire pulls a suspension string down by less than half of its weight, "
     "or lifts it"),
    ("ratio_vertical", "real", None, "vertical pull over that of the existing wire in its own worst case; of the "
     "existing wire the less of what it may have pulled, save beside itself"),
    ("ratio_transverse", "real", None, "transverse pull, likewise"),
    ("ratio_longitudinal", "real", None, "longitudinal pull, likewise; where the wire runs through, the horizontal "
     "tension of its tighter span, for there the structure is made for a wire that breaks"),
    ("ratio_to_existing", "real", None, "greatest of the three; null where no option is existing"),
    ("above_existing", "boolean", None, "true where it is above 1.00: not a structural design, a reason to make one"),
    ("lifted", "boolean", None, "true where the wire has lifted a suspension string: it hangs slack, or above "
     "its hinge"),
    ("of_capacity_vertical", "real", None, "vertical pull with its load factors over the capacity with its strength "
     "factor; null where no capacity is given"),
    ("of_capacity_transverse", "real", None, "transverse pull, likewise"),
    ("of_capacity_longitudinal", "real", None, "longitudinal pull, likewise, of wires that are whole"),
    ("of_capacity", "real", None, "greatest of the three that are given"),
    ("over_capacity", "boolean", None, "true where it is above 1.00; null where no capacity is given, or the load is "
     "not known: that is never a pass"),
    ("capacity", "text", None, "what has least to spare, load with factors and capacity; or that none is given"),
    ("load_factors", "text", None, "factors on the loads of this case, and where they are from"),
    ("factored_vertical_n", "real", "N", "vertical pull of all wires with its load factors, of either side of the wind "
     "the greater, each wire at the end of its history that makes more of it"),
    ("factored_transverse_n", "real", "N", "transverse pull of all wires, likewise"),
    ("factored_longitudinal_n", "real", "N", "longitudinal pull of all wires, likewise"),
    ("swing_left_deg", "real", "deg", "greatest swing of the string to the left, over wind from either side; negative "
     "where it stays to the right; null where it does not swing, and where it is lifted"),
    ("swing_right_deg", "real", "deg", "likewise to the right"),
    ("swing_more_deg", "real", "deg", "by how much the greater of both is more than that of the existing wire on the "
     "same string in the same case"),
    ("swing_limit_deg", "real", "deg", "greatest swing that the framing allows; null where it does not say"),
    ("body_m", "real", "m", "least distance of the wire, or its bundle, from the body of the structure, by the window "
     "of the framing; null where that is not given"),
    ("body_side", "text", None, "where that is: left, right, below or above of where the string hangs"),
    ("body_rule", "text", None, "the rule against `own_structure`, or electrical distance"),
    ("body_required_m", "real", "m", "distance that it requires"),
    ("body_margin_m", "real", "m", "the one less the other"),
    ("at_structure", "text", None, "passed; failed: over the limit, or too near; not given: neither window nor limit, "
     "so not looked at; not assessed; null of wires that are held or earthed, and in cases that ask for tension alone"),
)

#: What the layer is, and its columns.
LOADS = (
    "One row per structure, wire, section, option and case: what the wire does to the structure, beside what the "
    "existing wire does, not a structural design; and what wire and string clear of it.",
    """line! structure! role wire! section section_side option! case! vertical_n! transverse_n longitudinal_n
    wind_span_m weight_span_m string_swing_deg uplift lifted! ratio_vertical ratio_transverse ratio_longitudinal
    ratio_to_existing above_existing of_capacity_vertical of_capacity_transverse of_capacity_longitudinal of_capacity
    over_capacity capacity! load_factors! swing_left_deg swing_right_deg swing_more_deg swing_limit_deg body_m body_side
    body_rule body_required_m body_margin_m at_structure""")

#: The layer of loads on structures as a whole, and its columns.
CAPACITY = (
    "One row per structure whose capacity as a whole is given, option and case: all wires together, with their load "
    "factors, beside it. The structure's own weight and the wind on it are not in the loads. Not a structural design.",
    """line! structure! role framing option! case! factored_vertical_n factored_transverse_n factored_longitudinal_n
    of_capacity_vertical of_capacity_transverse of_capacity_longitudinal of_capacity over_capacity capacity!
    load_factors!""")
