"""Mixes: other options in some sections only, so that wires change at the strain structures between them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from corridor.arrays import Array, Integers, Texts
from corridor.line.build import Sections, Spans

__all__ = ["Mix", "mix_of", "runs_alike", "structures_of_change"]


@dataclass(frozen=True)
class Mix:
    """What hangs where: names of options in the sections of the lines, `hangs` (section,); `share` of the length of all
    lines by option, which adds up to 1, and `existing` the option that hangs today, None where none does."""

    name: str
    hangs: Texts
    share: Mapping[str, float]
    existing: str | None = None

    @property
    def parts(self) -> tuple[str, ...]:
        """Names of the options of it."""
        return tuple(self.share)

    def weighted(self, values: Mapping[str, float]) -> float:
        """Return the mean over the length of something that options have, nan where one's is not known."""
        return float(sum(part * values[name] for name, part in self.share.items()))

    def moved(self, of: Integers) -> "Mix":
        """Return the mix on a line that is laid out anew, of whose sections each was, or was in, section `of`."""
        return replace(self, hangs=self.hangs[of])


def mix_of(name: str, hangs: Texts, spans: Spans, existing: str | None) -> Mix:
    """Return the Mix of options that hang in sections (section,)."""
    length: Array = spans.length
    at = hangs[spans.section]
    return Mix(name, hangs, {str(each): float(length[at == each].sum() / length.sum()) for each in dict.fromkeys(at)},
               existing)


def runs_alike(mixes: Sequence[Mix], spans: Spans, first: int, last: int) -> list[tuple[int, int]]:
    """Return first and last spans of runs of whole sections in which each mix is one option alone."""
    section = spans.section[first:last + 1]
    if not mixes:
        return [(first, last)]
    hangs = np.stack([mix.hangs[section].astype(str) for mix in mixes])
    ends = first + np.flatnonzero((hangs[:, 1:] != hangs[:, :-1]).any(axis=0))
    return list(zip([first, *(ends + 1).tolist()], [*ends.tolist(), last], strict=True))


def structures_of_change(mixes: Sequence[Mix], spans: Spans, sections: Sections) -> dict[str, Integers]:
    """Return the structures (index) at which wires change, by name of the mix."""
    head, same = spans.head[sections.last[:-1]], sections.line[1:] == sections.line[:-1]
    return {mix.name: head[same & (mix.hangs[1:] != mix.hangs[:-1])] for mix in mixes}
