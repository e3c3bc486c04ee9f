"""Which findings a plan beside them is for: digests of the study and of the files that it read."""

from pathlib import Path

import pandas
import pyogrio

from corridor.outputs.frames import read_layer
from corridor.outputs.tables import write_frame

__all__ = ["PLANNED_FOR", "digests_of", "write_planned_for"]

#: Name of the table.
PLANNED_FOR = "planned_for"


def write_planned_for(plan: Path, findings: Path) -> None:
    """Write the table into a GeoPackage of a plan, where it has none yet."""
    if PLANNED_FOR not in {name for name, _ in pyogrio.list_layers(plan)}:
        digests = digests_of(findings)
        write_frame(plan, PLANNED_FOR, pandas.DataFrame({"what": list(digests), "digest": list(digests.values())}))


def digests_of(findings: Path) -> dict[str, str]:
    """Return what findings were made from, in words, to its digest."""
    run, inputs = (read_layer(findings, name) for name in ("run", "inputs"))
    return {"study": str(run["study_digest"][0]),
            **{f"{part} {path}": str(digest) for part, path, digest in
               zip(inputs["part"], inputs["path"], inputs["digest"], strict=True)}}
