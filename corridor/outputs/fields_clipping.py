"""Columns of the layer of clipping offsets, for the schema."""

__all__ = ["CLIPPING", "FIELDS"]

FIELDS = (
    ("block", "text", None, "the spans that are in travellers together, from structure to structure"),
    ("clipping_offset_m", "real", "m",
     "along the wire, from its point on the sheave to the clamp, positive towards the end of the line; null where "
     "strings do not hang in this state"),
    ("traveller_lean_m", "real", "m",
     "how far the sheave hangs from plumb along the line, positive towards its end; null likewise, and where a block "
     "ends: the wire is anchored there"),
    ("back_tension_n", "real", "N", "horizontal tension in travellers of the span before the structure"),
    ("ahead_tension_n", "real", "N", "horizontal tension in travellers of the span after it"),
)

#: What the layer is, and its columns.
CLIPPING = (
    "One row per structure that a new phase wire runs through, wire and option: where its clamp goes for strings to be "
    "plumb, when its block lies in travellers without friction at the stringing temperature. None for the existing "
    "wire, nor by the ruling span. All findings of a new wire start from here: its spans keep the wire that they were "
    "clipped in with.",
    """line! structure! wire! section! block! option! temperature_c horizontal_tension_n clipping_offset_m
    traveller_lean_m back_tension_n ahead_tension_n""")
