"""Columns of the layer of swing envelopes, for the schema."""

__all__ = ["ENVELOPES", "FIELDS", "PARCELS"]

FIELDS = (
    ("other_state", "text", None, "how the other wire was taken to hang, where it is a wire whose state is computed or "
     "assumed, or one of the same structures; null else"),
    ("broken_span", "text", None, "the span in which the wire is broken; null where it is whole, as in cases with a "
     "broken wire where the section ends beside the span"),
    ("reach_left_m", "real", "m", "how far any wire gets left of the line between structure centres"),
    ("reach_right_m", "real", "m", "how far any wire gets right of it"),
    ("room_left_m", "real", "m",
     "least distance from any wire blown to the left to the edge of the right-of-way, negative outside; null where "
     "there is none"),
    ("room_right_m", "real", "m", "likewise of any wire blown to the right"),
    ("parcel", "text", None, "the parcel, `<name in the study>:<its identifier>`"),
    ("overlap_m2", "real", "m2", "ground area of the parcel below the envelope"),
    ("distance_m", "real", "m", "least ground distance from the envelope to the parcel in plan; 0 where it is over it"),
    ("area_m2", "real", "m2", "ground area of the envelope"),
    ("area_outside_m2", "real", "m2", "ground area of it outside of the right-of-way; null where there is none"),
)

#: What the layer is, and its columns.
ENVELOPES = (
    "One row per span, option and case with wind: in plan, the hull of all wires blown to both sides. A span with "
    "a wire that hangs nowhere has none.",
    "line! span! option! case! reach_left_m! reach_right_m! room_left_m room_right_m area_m2! area_outside_m2")

PARCELS = (
    "One row per span, option, case with wind and parcel (obstacles of the category `parcel`) within 30 m: what of it "
    "the swing envelope is over, and how far it stays from it. The geometry is the overlap, null where there is none.",
    "line! span! option! case! parcel! overlap_m2! distance_m!")
