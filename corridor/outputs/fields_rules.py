"""Columns that tell how far the rule of a clearance can be trusted, for the schema."""

__all__ = ["FIELDS"]

FIELDS = (
    ("rule_confidence", "text", None, "how the number of the rule is known: read in its source, or recalled and how "
     "surely, and so of the electrical distance that it counts in; null where the table does not say, and for an edge "
     "or ellipses that no rule is for"),
    ("rule_edition", "text", None, "edition of the code that the rule is from; null likewise"),
)
