"""Doubts as a file, and as the page that explains their kinds."""

from pathlib import Path

from corridor.errors import InputError
from corridor.inspection.inspector import MODULES, Inspection
from corridor.outputs.files import Files
from corridor.outputs.guard import PLAIN, Guard
from corridor.outputs.tables import write_csv, write_layers

__all__ = ["write_doubts", "write_reference"]


def write_doubts(path: Path, inspection: Inspection, crs: object, guard: Guard = PLAIN) -> tuple[Path, ...]:
    """Write the doubts as CSV or GeoPackage, by the ending of the name; return the path.

    Raises
    ------
    InputError
        Another ending, no such folder, or a file that must not be replaced.
    """
    if path.suffix.lower() not in (".csv", ".gpkg"):
        raise InputError(path, "--output", repr(path.suffix), ".csv or .gpkg")
    with Files(guard) as files:
        if path.suffix.lower() == ".csv":
            write_csv(files.new(path), inspection.columns())
        else:
            write_layers(files.new(path), crs, {"doubts": inspection.columns()})
    return files.written


_HEAD = """# Doubts about the data

*Made from `corridor/inspection/`; a test fails where the two differ.*

A wrong number in the data gives a wrong "clear". `corridor inspect STUDY` looks at the data before anything is
computed and tells what is doubtful; `corridor check` does so first, and writes the layer `doubts`.

A **serious** doubt could hide a violation. While one is open, a check without violations ends with status 3, not 0.
A **minor** doubt makes results less good, or wrong on the safe side. A doubt is settled by correcting the data, or
where the data are right, by accepting it in the study with the reason, which is kept in the findings:

```toml
[[accepted]]
id = "base-single"
features = ["T17"]          # as the doubt names them; left out: all
reason = "stands on a plinth of 2.4 m, drawing 117"
```

Thresholds are wide: what raises a doubt is unlike what is built. Where no source is named they are common practice.

"""
_UNSEEN = """## What no check can see

A study without doubts is not a proven one. These errors stay unseen, or are seen only where other data contradict them:

{}
"""


def write_reference(path: Path | str) -> None:
    """Write the page of all kinds of doubts."""
    parts = [_HEAD]
    for title, module in MODULES.items():
        parts.append(f"## {title}\n\n" + "\n".join(map(_section, module.KINDS)))
    parts.append(_UNSEEN.format("\n".join(f"- {text}" for text in UNSEEN)))
    Path(path).write_text("\n".join(parts), encoding="utf-8")


def _section(kind):
    rows = (("severity", kind.severity), ("caused by", kind.cause), ("raised when", kind.threshold),
            ("from", kind.source), ("to settle it", kind.settle))
    return "\n".join([f"### {kind.id}", "", f"{kind.title[0].upper()}{kind.title[1:]}.", "", "| | |", "| --- | --- |",
                      *(f"| {head} | {text} |" for head, text in rows), ""])


#: Errors that no check can see, or none does.
UNSEEN = (
    "what is not there: a road, a line, a tree, a whole layer that the study does not name; a structure left out makes "
    "a long span, which errs on the safe side;",
    "a constant offset of ground, bases and everything with an elevation together: it changes nothing;",
    "without bases of their own, a raster in another unit or datum, or tilted, by less than what roofs, streets or "
    "wires with elevations of their own contradict; so an old vertical datum of a metre where nothing has elevations;",
    "holes of a raster filled with a value within 5 m of the ground, as 0 in low land, or filled smoothly; a coarse "
    "model made fine by cubic splines or on a turned grid; a bridge or a levee that the model lacks; water on the day "
    "of flight;",
    "a surface model of smooth roofs and few trees, or of cells above 3 m;",
    "heights of attachments that count the string twice or not at all, or are those of another peg: a metre or two; "
    "left and right exchanged; the framing of another structure;",
    "heights of trees or houses wrong by less than a factor of two or three, or for single ones; heights that are "
    "right and old: growth since the survey;",
    "places wrong by less than some 20 m: a datum of some metres, a structure off its line by as much, a layer of "
    "roads or wires moved along the line; feet of the wrong kind where all files share it, or where no other grid is "
    "in feet;",
    "some features of a layer elsewhere while others are near the line: their numbers are told, and no more;",
    "another conductor of the same build and nearly the same size; a wrong creep or stress-strain curve; a temperature "
    "of a survey or measured tension that is wrong by some degrees;",
    "a stringing limit, wind or ice that is usual and not the one agreed; a case that is left out;",
    "a rule of another edition or voltage whose number is usual; a rule that the study does not name;",
    "voltages of other lines that are wrong and usual, or read as kV where they are V by a unit that the study says;",
    "points of clouds, hours of a series, prices: they are read and bounded, not inspected.",
)
