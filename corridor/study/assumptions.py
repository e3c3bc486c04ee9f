"""The table of a study that says what was assumed and has not been confirmed."""

from pydantic import Field, StrictBool

from corridor.study.table import Table, Text

__all__ = ["Assumption", "assumed_words"]


class Assumption(Table):
    """Something that was assumed when the study was made: until it is confirmed the findings say so, and no check ends
    as clear."""

    key: Text = Field(description="The key of the study that it stands in.")
    value: Text = Field(description="What was assumed.")
    reason: Text = Field(description="What it was guessed from, and on which side it errs.")
    confirmed: StrictBool = Field(False, description=(
        "true: an engineer has looked into it and it is right. To take the row out says the same."))

    def words(self):
        """Return it as one line."""
        return f"{self.key}: {self.value} ({self.reason})"


def assumed_words(count):
    """Return words for how many assumptions are not confirmed, "" where none is."""
    return f"{count} assumption{'s' if count > 1 else ''} not confirmed" if count else ""
