"""The layer of doubts about the data: its fields and its columns."""

__all__ = ["DOUBTS", "FIELDS", "MEANINGS"]

FIELDS = (
    ("doubt", "text", None, "what kind of doubt it is, by its name in docs/doubts.md"),
    ("subject", "text", None, "what is doubtful"),
    ("file", "text", None, "the file, as the study names it"),
    ("feature", "text", None, "the feature, row, layer or key it is about"),
    ("found", "text", None, "what stands there"),
    ("expected", "text", None, "what was expected"),
    ("advice", "text", None, "what to do"),
    ("accepted", "boolean", None, "whether the study accepts it ([[accepted]]): it does not count then"),
)

#: Geometry, what a row is, and its columns.
DOUBTS = (
    "Point Z",
    "One row per doubt about the data, or per group of features that are doubtful alike; where it has a place. "
    "A serious one that the study does not accept keeps a run from being clear.",
    "doubt! severity! subject! file! feature found! expected! advice! accepted! reason")

#: What fields of other layers mean here.
MEANINGS = {"severity": "serious: it could hide a violation; minor: it could not",
            "reason": "why the study accepts it; null where it does not"}
