"""The table of a study that says which doubts about its data are settled."""

from pydantic import Field

from corridor.study.table import Table, Text

__all__ = ["Accepted"]


class Accepted(Table):
    """A doubt about the data that someone has looked into: it stays in the findings, without effect."""

    id: Text = Field(description="The doubt, by its name in docs/doubts.md.")
    features: tuple[Text, ...] = Field((), description="Features, as the doubt names them. Default: all.")
    reason: Text = Field(description="Why it is right as it is; it is told in the findings.")
