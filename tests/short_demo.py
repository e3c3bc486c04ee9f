"""A stretch of the demo, for tests that need a real study and not all of it."""

import shutil
from pathlib import Path

import pyogrio

DEMO = Path(__file__).resolve().parents[1] / "demo_corridor"


def short_demo(target, first, last):
    """Copy the demo's study and data, of its line only the structures from `first` to `last`, and return the folder."""
    shutil.copytree(DEMO, target, ignore=shutil.ignore_patterns("*.py", "findings*", "*.laz", "*-journal"))
    structures = pyogrio.read_dataframe(DEMO / "line.gpkg", layer="structures")
    kept = structures[(structures.structure >= first) & (structures.structure <= last)]
    (target / "line.gpkg").unlink()
    pyogrio.write_dataframe(kept, target / "line.gpkg", layer="structures")
    return target
