"""A job beside the check: the wires of a study as surveys saw them, beside the line as it is described."""

from dataclasses import dataclass
from pathlib import Path

from pyproj import CRS

from corridor.errors import InputError
from corridor.jobs.folder import add_csvs, made_folder
from corridor.opened import Opened
from corridor.outputs.files import Files
from corridor.outputs.frames import Columns, Frames
from corridor.outputs.guard import PLAIN, Guard
from corridor.outputs.tables import write_layers

__all__ = ["SurveyResult", "survey_study", "write_survey"]


@dataclass(frozen=True)
class SurveyResult:
    """What surveys come to.

    `layers` columns of `surveyed_wires` and `surveyed_spans` (docs/findings.md), `crs` of their places; `drawn` of each
    row of the first points (point, 3), the wire through them and the wire as described (place, 3), in the frame of its
    span [m]; `words` what is to be said.
    """

    layers: dict[str, Columns]
    crs: CRS
    drawn: tuple
    words: tuple[str, ...]

    @property
    def status(self) -> int:
        """Exit status: 0, or 3 where a wire does not count."""
        return 0 if all(self.layers["surveyed_wires"].get("used", (False,))) else 3

    @property
    def frames(self) -> Frames:
        """Both layers as data frames."""
        return Frames(self.layers, self.crs)


def survey_study(opened: Opened) -> SurveyResult:
    """Return the wires of a study as its surveys saw them.

    Raises
    ------
    InputError
        The study has no survey, or one cannot be used.
    """
    if not opened.study.surveys:
        raise InputError(opened.study.path, "surveys", "nothing", "a table [[surveys]] with points on wires")
    facts = opened.laid_out.facts
    seen = facts.surveyed
    return SurveyResult(dict(seen.layers), opened.inputs.crs, seen.drawn, seen.words)


def write_survey(result: SurveyResult, folder: Path | str, guard: Guard = PLAIN, *, pictures: bool = True
                 ) -> tuple[Path, ...]:
    """Write what surveys come to as a GeoPackage, two tables and, unless not wanted, a picture of each span.

    Raises
    ------
    InputError
        The folder is none, and cannot be made, or a file in it must not be replaced.
    """
    from corridor.outputs.drawings.fits import draw_fits

    folder = made_folder(folder)
    filled = {name: columns for name, columns in result.layers.items() if columns}
    with Files(guard) as files:
        write_layers(files.new(folder / "surveyed.gpkg"), result.crs, filled)
        add_csvs(files, folder, {name: {key: values for key, values in columns.items() if key != "geometry"}
                                 for name, columns in filled.items()})
        if pictures and filled:
            draw_fits(files.new(folder / "fits.pdf"), result)
    return files.written
