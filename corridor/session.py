"""One opened study, and all that may be asked of it: what every command and a notebook use."""

from collections.abc import Callable, Mapping, Sequence
from importlib import import_module
from pathlib import Path
from types import MethodType
from typing import Any

from corridor.opened import Opened

__all__ = ["OpenedStudy", "open_study"]


class _Job:
    """A function of an opened study as its method; its module is loaded when it is first asked for."""

    def __init__(self, module: str, name: str) -> None:
        self.module, self.name = module, name

    def __get__(self, opened: Opened | None, owner: type | None = None) -> Callable[..., Any]:
        job = getattr(import_module(self.module), self.name)
        return job if opened is None else MethodType(job, opened)


class OpenedStudy(Opened):
    """A study that is open. Ask what you like, in any order and as often as you like: the answers are the same.

    Each job is the function that its method names, with the study as first argument; `help(study.sag)` tells its
    arguments. Answers have their tables as data frames, by name, in `frames`.
    """

    inspect = _Job("corridor.inspection.inspector", "inspect_study")
    survey = _Job("corridor.jobs.survey", "survey_study")
    check = _Job("corridor.check", "check")
    limits = _Job("corridor.jobs.rating", "limit_study")
    ratings = _Job("corridor.jobs.rating", "rate_study")
    rating_table = _Job("corridor.jobs.adjusted", "adjusted_study")
    time_left = _Job("corridor.jobs.now", "now_study")
    sag = _Job("corridor.jobs.sag", "sag_study")
    stringing_chart = _Job("corridor.jobs.sag", "chart_study")
    stringing = _Job("corridor.jobs.stringing", "stringing_study")
    curves = _Job("corridor.jobs.curves", "curve_study")
    compare = _Job("corridor.jobs.compare", "compare_study")
    compare_lines = _Job("corridor.jobs.compare_lines", "compare_lines")
    design = _Job("corridor.planning.conductor_search.search", "design_study")
    plan = _Job("corridor.planning.remedies.plan", "plan_study")
    plan_each_line = _Job("corridor.planning.each_line", "plan_each_line")
    plan_cost_curve = _Job("corridor.planning.cost_curve", "plan_cost_curve")
    ground_limit = _Job("corridor.jobs.ground_limit", "ground_limit_study")
    report = _Job("corridor.jobs.report", "report_study")
    report_network = _Job("corridor.jobs.report_network", "report_network")
    draw = _Job("corridor.jobs.draw", "draw_study")
    tables = _Job("corridor.jobs.tables", "study_tables")
    export = _Job("corridor.jobs.export", "export_study")


def open_study(study: Path | str | Mapping, folder: Path | str = ".", *, trust: bool | Sequence[Path] | None = None
               ) -> OpenedStudy:
    """Open a study, to be used in a `with` statement or closed.

    Parameters
    ----------
    study : path, str or dict
        The study file, or the tables of one.
    folder : path or str
        What the paths of a dict are relative to.
    trust : bool or sequence of path, optional
        Whether files outside the study's folder, and what they refer to, may be read; or folders that may be read
        besides. Default: of a dict alone.

    Raises
    ------
    InputError
        The study cannot be used. The files that it names are read, once, when they are first needed: a fault of theirs
        is told then.

    Examples
    --------
    >>> import tomllib
    >>> demo = Path(__file__).parents[1] / "demo_corridor"
    >>> with open_study(demo / "study.toml") as study:
    ...     rated = study.ratings()
    >>> rated.frames["options"].query("method == 'ieee738'")[["option", "continuous_current_a"]].round(0)
                   option  continuous_current_a
    0            existing                 604.0
    1       thermal alloy                1081.0
    2   annealed on steel                1228.0
    3  annealed on carbon                1428.0

    A check from a dict, with one option and no obstacle left in it, and nothing written:

    >>> tables = tomllib.loads((demo / "study.toml").read_text(encoding="utf-8"))
    >>> tables |= {"options": tables["options"][:1], "obstacles": []}
    >>> with open_study(tables, folder=demo) as study:
    ...     found = study.check()
    >>> found.violations, found.status
    (6, 1)
    >>> found.frames["violations"][["span", "case", "against", "margin_m"]].round(2).head(2)
          span       case against  margin_m
    0  N03-N04        hot  ground     -0.20
    1  N03-N04  emergency  ground     -0.69
    >>> for cause in found.causes:
    ...     print(cause.rows, cause.spans, cause.reason)
    4 1 the ground raster has no values below 20.6 m of the 410.2 m span
    1 1 the ground raster has no values below part of the swung wire
    """
    return OpenedStudy(study, folder, trust=trust)
