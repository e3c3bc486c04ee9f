"""Compare two findings: what was remedied, what is new, what got worse or better, by the keys of a clearance."""

from dataclasses import dataclass
from pathlib import Path
from textwrap import wrap

import geopandas
import numpy as np
from pyogrio.errors import DataSourceError

from corridor.errors import InputError, nearest
from corridor.jobs.read_back import as_written, left_open
from corridor.outputs.files import Files
from corridor.outputs.frames import read_layer
from corridor.outputs.guard import FOLDER, PLAIN, Guard, kind_of
from corridor.outputs.tables import inert, write_frame
from corridor.study.assumptions import assumed_words

__all__ = ["CHANGES", "Difference", "compare_findings", "write_difference"]

#: What makes a row of `clearances` the same one in another run.
KEYS = ("line", "span", "option", "case", "against", "obstacle", "measure")
#: What may have become of a violation, the worst news first.
CHANGES = ("new", "worse", "not compared", "same", "better", "cleared")
#: Of these, any gives status 1.
BAD = ("new", "worse", "not compared")


@dataclass(frozen=True)
class Difference:
    """Violations of two findings side by side; `rows` a GeoDataFrame, one row per key that is in violation in either.

    Columns: the keys, `change` (one of CHANGES), `margin_before_m`, `margin_after_m` (null where not compared there),
    `change_m`, and the place on the wire. `left_open` sentences on what the findings rest on that nobody has confirmed.
    """

    rows: geopandas.GeoDataFrame
    left_open: tuple[str, ...] = ()

    @property
    def counts(self) -> dict[str, int]:
        """Number of rows by change."""
        return {word: int((self.rows["change"] == word).sum()) for word in CHANGES}

    @property
    def status(self) -> int:
        """0: nothing new, worse or no longer compared; 1: something is."""
        return int(any(self.counts[word] for word in BAD))

    def lines(self) -> list[str]:
        """Lines of text: counts, then the rows that are bad news, at most twenty."""
        counts = ", ".join(f"{self.counts[word]} {word}" for word in CHANGES)
        bad = self.rows[self.rows["change"].isin(BAD)].sort_values("margin_after_m", na_position="first")
        lines = [f"Violations before and after: {counts}"]
        for row in bad.head(20).itertuples():
            thing = row.obstacle if isinstance(row.obstacle, str) else row.against
            lines.append(f"  {row.change}: {row.line}, {row.span}, {row.option}, {row.case}, {thing}: "
                         f"{_metres(row.margin_before_m)} to {_metres(row.margin_after_m)}")
        lines += [f"  and {len(bad) - 20} more"] if len(bad) > 20 else []
        lines += self.left_open
        return [part for line in lines for part in wrap(line, 79, subsequent_indent="    ")]


def _metres(value):
    return "not compared" if value is None or np.isnan(value) else f"{value:+.2f} m"


def compare_findings(before: Path | str, after: Path | str, *, option: str | None = None, tolerance: float = 0.001
                     ) -> Difference:
    """Return what became of every violation between two findings.

    A violation is *cleared* only where the other findings compared the same thing and found it clear. Where they hold
    no such row, be it not assessed, renamed or taken away, it is *not compared*.

    Parameters
    ----------
    before, after : path
        GeoPackages or folders that `corridor check` wrote.
    option : str, optional
        Name of the only option that counts; default: all.
    tolerance : float
        Changes of the margin up to this are none [m].

    Raises
    ------
    InputError
        A file is no findings, somebody changed it, or it holds no such option.
    """
    a, b = _clearances(before, option), _clearances(after, option)
    both = a.merge(b, how="outer", on=list(KEYS), suffixes=("_before", "_after"))
    m, n = both["margin_m_before"].to_numpy(), both["margin_m_after"].to_numpy()
    both["change"] = _change(m, n, tolerance)
    both = both[(m < 0) | (n < 0)].reset_index(drop=True)
    place = both["geometry_after"].where(both["geometry_after"].notna(), both["geometry_before"])
    m, n = both["margin_m_before"], both["margin_m_after"]
    rows = both[[*KEYS, "change"]].assign(margin_before_m=m, margin_after_m=n, change_m=n - m)
    rows["obstacle"] = rows["obstacle"].replace("", None)
    return Difference(geopandas.GeoDataFrame(rows, geometry=geopandas.GeoSeries(place.tolist(), crs=b.crs)),
                      tuple(words for words in (_left_open("before", before), _left_open("after", after)) if words))


def _left_open(which, path):
    """What of some findings nobody has confirmed, "" where that is nothing."""
    assumed, doubts = left_open(*(read_layer(Path(path), name) for name in ("run", "doubts")))
    words = [assumed_words(assumed), f"{doubts} serious doubt{'s' * (doubts > 1)} not accepted" if doubts else ""]
    found = ", ".join(each for each in words if each)
    return f"Findings {which}: {found}: what is clear may not be so." if found else ""


def _change(m, n, tolerance):
    """Word for margins before and after [m]; nan where not compared."""
    was, now = m < 0, n < 0
    moved = n - m
    return np.select(
        [~was & now, was & np.isnan(n), was & now & (moved < -tolerance), was & now & (moved > tolerance), was & now],
        ["new", "not compared", "worse", "better", "same"], "cleared").astype(object)


def _clearances(path, option):
    path = Path(path)
    if not path.exists():
        raise InputError(path, None, "no such file", "findings that `corridor check` wrote")
    if path.is_dir() and kind_of(path) != FOLDER:
        raise InputError(path, None, "a folder with something else than findings",
                         "findings that `corridor check` wrote")
    as_written(path)
    try:
        rows = read_layer(path, "clearances", [*KEYS, "margin_m"])
    except (DataSourceError, OSError, ValueError):
        raise InputError(path, "layer clearances", "nothing that can be read",
                         "findings that `corridor check` wrote") from None
    missing = [name for name in (*KEYS, "margin_m") if name not in rows]
    if missing:
        raise InputError(path, "layer clearances", f"no column {missing[0]!r}", "findings that `corridor check` wrote")
    if option is not None:
        known = sorted(set(rows["option"]))
        if option not in known:
            raise InputError(path, "option", repr(option), ", ".join(known), nearest(option, known))
        rows = rows[rows["option"] == option]
    rows = rows.assign(obstacle=rows["obstacle"].fillna(""))
    return rows.sort_values("margin_m").drop_duplicates(list(KEYS)).reset_index(drop=True)


def write_difference(difference: Difference, output: Path | str, guard: Guard = PLAIN) -> Path:
    """Write the rows: a CSV table where the path ends so, else the layer `changes` of a GeoPackage."""
    output = Path(output)
    if output.suffix.lower() not in (".csv", ".gpkg"):
        raise InputError(None, "output", repr(str(output)), "a path that ends in .csv or .gpkg")
    with Files(guard) as files:
        if output.suffix.lower() == ".csv":
            rows = difference.rows.drop(columns="geometry")
            rows.map(inert).to_csv(files.new(output), index=False, float_format="%.4f", lineterminator="\n")
        else:
            write_frame(files.new(output), "changes", difference.rows, "Point Z")
    return files.written[0]
