"""Columns that tell of reactance, electric field and what it induces, for the schema."""

__all__ = ["ELECTRIC", "FIELDS", "MEANINGS", "OF_OPTIONS"]

#: Columns of the layer `options`.
OF_OPTIONS = "mean_distance_m mean_radius_m reactance_ohm_per_km voltage_drop_v_per_km reactance_note"

FIELDS = (
    ("mean_distance_m", "real", "m", "geometric mean distance of the three phases of a circuit at mid-span, along its "
     "line; of several circuits the greatest. Null where a circuit has not three phase wires"),
    ("mean_radius_m", "real", "m", "geometric mean radius of a phase: of its wire, or of its bundle; null where the "
     "spacing of the bundle is not given, and of one layer over steel"),
    ("reactance_ohm_per_km", "real", "ohm/km", "series reactance of the positive sequence, of a transposed line"),
    ("voltage_drop_v_per_km", "real", "V/km", "voltage drop, line to line, at the required current and at the power "
     "factor at which it is greatest: current times impedance"),
    ("reactance_note", "text", None, "where the mean radius is from, and what is not known"),
    ("lowest_height_m", "real", "m", "height of the lowest phase wire above the ground, where it is least"),
    ("field_kv_per_m", "real", "kV/m", "greatest electric field 1 m above the ground across the line there, effective "
     "value, at the highest system voltage; of several circuits in the worst order of their phases"),
    ("field_offset_m", "real", "m", "where it is greatest, right of the line; negative to the left"),
    ("surface_gradient_kv_per_cm", "real", "kV/cm", "greatest field at the surface of a phase wire there, effective "
     "value, of smooth wires; of a bundle at its outer side"),
    ("gradient_wire", "text", None, "the wire at which that is"),
    ("field_note", "text", None, "what was left out"),
    ("vehicle", "text", None, "the largest vehicle: a box of metal of its size"),
    ("vehicle_current_ma", "real", "mA", "current from that vehicle to the ground, effective value, in the greatest "
     "field; handbook values of real vehicles are 15 to 25 % lower"),
    ("vehicle_limit_ma", "real", "mA", "what the rules allow; null where they do not ask for it"),
    ("above_limit", "boolean", None, "true where the current is above that; null where it is not judged"),
)

#: What the layer is, and its columns.
ELECTRIC = (
    "One row per span and option: the electric field below the wires, where they come nearest to the ground in the "
    "case at the maximum temperature, and what it does. The chord of the span. Wires count as long and parallel over "
    "level ground, those of other lines not at all. Information, but for `above_limit`.",
    """line! span! section option! case conductor_temperature_c wire lowest_height_m station_m distance_from_start_m
    field_kv_per_m field_offset_m surface_gradient_kv_per_cm gradient_wire field_note vehicle vehicle_current_ma
    vehicle_limit_ma above_limit rule rule_confidence rule_edition reason""")

#: What fields of other layers mean here.
MEANINGS = {"wire": "the lowest phase wire", "reason": "why the field is not known; null where it is",
            "rule": "the rule that limits the current; null where none does",
            "station_m": "station of the place along the line"}
