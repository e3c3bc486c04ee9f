"""A doubt about the data, and its kind: the record that every check of this package yields."""

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

import numpy as np

__all__ = ["COMMON", "MINOR", "SERIOUS", "Doubt", "Kind", "gathered"]

#: Severities: a serious doubt could hide a violation; a minor one makes results less good, or wrong on the safe side.
SERIOUS, MINOR = "serious", "minor"
#: The source of a threshold that none was found for.
COMMON = "common practice, no source"
#: Features of one file that are doubtful alike are told one by one up to this many, unless most are, and else together.
ONE_BY_ONE = 12
#: Features that are named where they are told together.
_NAMED = 3


class Kind(NamedTuple):
    """A kind of doubt.

    `id` its name in findings and studies; `severity` SERIOUS or MINOR; `title` what is doubtful; `cause` what makes
    it so; `threshold` from when on it is raised, `source` where that is from; `settle` what to
    do.
    """

    id: str
    severity: str
    title: str
    cause: str
    threshold: str
    source: str
    settle: str


class Doubt(NamedTuple):
    """One doubt: its kind, the file or table of the study, the feature, what was found and what was expected.

    `place` easting, northing and elevation [m] in the frame, nan where not known; None where it has no place.
    """

    kind: Kind
    file: str
    feature: str | None
    found: str
    expected: str
    place: tuple[float, float, float] | None = None


def gathered(kind: Kind, file: str, whole: str, names: Sequence[str], found: Sequence[str], expected: str,
             places: Iterable[Sequence[float]] | None = None, *, of: int | None = None) -> Iterator[Doubt]:
    """Yield the doubts of features that are doubtful alike: one for each, or one for all where they are many.

    Parameters
    ----------
    kind, file, expected
        As in `Doubt`.
    whole : str
        What stands as the feature where they are told together.
    names, found : sequence of str
        Of each feature.
    places : iterable of (easting, northing, elevation), optional
    of : int, optional
        How many features were looked at.
    """
    where = [None] * len(names) if places is None else [tuple(map(float, place)) for place in places]
    most = of is not None and len(names) > _NAMED and len(names) > of / 2
    if len(names) <= ONE_BY_ONE and not most:
        for name, text, place in zip(names, found, where, strict=True):
            yield Doubt(kind, file, str(name), text, expected, place)
        return
    share = f"{len(names)} of {of}" if of else str(len(names))
    some = "; ".join(f"{name}: {text}" for name, text in zip(names[:_NAMED], found[:_NAMED], strict=True))
    place = None if places is None else tuple(np.array(where, float)[0].tolist())
    yield Doubt(kind, file, whole, f"{share}, such as {some}", expected, place)
