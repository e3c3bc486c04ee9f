"""Columns that tell of reactance, electric field and what it induces, for the schema."""

__all__ = ["FIELDS", "OF_OPTIONS"]

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
)
