"""Two jobs beside the check: sag and tension in every case, initial and final; the chart that wires are strung by."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from corridor.arrays import join
from corridor.assessment import make_scene
from corridor.check import Progress
from corridor.clearance.wires import section_rows, wire_rows
from corridor.geometry.catenary import greatest_sag
from corridor.installation.chart import CONDITIONS, EVERY, chart_rows
from corridor.jobs.folder import write_csvs
from corridor.opened import Opened
from corridor.outputs.frames import Columns, Frames
from corridor.outputs.guard import PLAIN, Guard

__all__ = ["CONDITIONS", "EVERY", "Chart", "SagResult", "chart_study", "sag_study", "write_chart", "write_sags"]

#: Columns of `section_rows` that a row keeps, and where it stands among what is added.
_SECTION = ("line", "section", "wire_kind", "option", "case", "condition", "temperature_c", "ruling_span_m",
            "load_n_per_m", "horizontal_tension_n", "maximum_tension_n", "percent_rts", "catenary_constant_m")
_STRINGING = ("governing_limit", "knee_temperature_c", "knee_low_c", "knee_high_c", "set_by")


@dataclass(frozen=True)
class SagResult:
    """Tables as columns: `sections`, one row a section, kind of wire, option, case and condition; `spans` of wires."""

    sections: Columns
    spans: Columns

    @property
    def frames(self) -> Frames:
        """The tables `sections` and `spans` as data frames."""
        return Frames({"sections": self.sections, "spans": self.spans})

    @property
    def status(self) -> int:
        """Exit status: 0, or 3 where a wire has no answer: it has no conductor, or does not hang at its temperature."""
        rows = self.sections
        asked = np.isfinite(rows["temperature_c"]) | np.isnan(rows["load_n_per_m"])
        return 3 if (asked & np.isnan(rows["maximum_tension_n"])).any() else 0


@dataclass(frozen=True)
class Chart:
    """A stringing chart, as columns: one row a wire in a span, option and temperature."""

    rows: Columns

    @property
    def frames(self) -> Frames:
        """The table `chart` as a data frame."""
        return Frames({"chart": self.rows})

    @property
    def status(self) -> int:
        """Exit status: 0, or 3 where a wire has no answer."""
        return 3 if np.isnan(self.rows["sag_m"]).any() else 0


def sag_study(opened: Opened, *, progress: Progress | None = None) -> SagResult:
    """Find sag and tension of every section in every option and case, initial and final: tension and sag at the lower
    end of histories, the maximum tension of both ends.

    Parameters
    ----------
    opened : Opened
    progress : callable, optional
        `progress(done, total)` in spans.
    """
    return SagResult(*_joined(_sag_tables(scene) for scene, _ in _scenes(opened, CONDITIONS, progress)))


def _scenes(opened, conditions, progress):
    """Yield the scenes of all sections, one after the other, every case in some conditions, with the ends of pulls."""
    facts, plan, _ = opened.laid_out
    facts = replace(facts, cases=tuple(replace(case, condition=each) for case in facts.cases for each in conditions))
    for first, last in zip(plan.sections.first, plan.sections.last, strict=True):
        scene, _ = make_scene(facts, plan, int(first), int(last))
        if scene is not None:
            yield scene, facts.pull_ends
        if progress:
            progress(int(last) + 1, len(plan.spans))


def _joined(pairs):
    """Tables put end to end, one for each place in the pairs."""
    return tuple(join(parts)
                 for parts in zip(*pairs, strict=True))


def _sag_tables(scene):
    spans = {name: column for name, column in wire_rows(scene).items() if name != "geometry"}
    sections = section_rows(scene)
    C, S = sections["catenary_constant_m"], sections["ruling_span_m"]
    rows = {name: sections[name] for name in _SECTION} | {"ruling_span_sag_m": greatest_sag(S, 0.0, C)}
    rows |= _greatest(rows, spans) | {name: sections[name] for name in _STRINGING}
    kept = _told_once(scene, rows)
    own = ~((spans["kind"] == "shield") & (spans["option"] != scene.options[0].name))
    known = dict.fromkeys(zip(*(rows[name][kept] for name in _KEY), strict=True))
    own &= np.array([key in known for key in zip(*(spans[_OF_SPAN.get(name, name)] for name in _KEY), strict=True)],
                    bool)
    return _shared({name: column[kept] for name, column in rows.items()}, "wire_kind"), _shared(
        {name: column[own] for name, column in spans.items()}, "kind")


_KEY = ("line", "section", "wire_kind", "option", "case", "condition")
_OF_SPAN = {"wire_kind": "kind"}


def _greatest(rows, spans):
    """Maximum sag of any wire of each row, and where; in equilibrium, so not that of the ruling span."""
    place = {key: index for index, key in enumerate(zip(*(rows[name] for name in _KEY), strict=True))}
    count = len(place)
    sag, span, wire = np.full(count, np.nan), np.full(count, None, object), np.full(count, None, object)
    of_row = np.array([place[key] for key in zip(*(spans[_OF_SPAN.get(name, name)] for name in _KEY), strict=True)],
                      int)
    order = np.argsort(spans["sag_m"], kind="stable")
    for whole, name in ((sag, "sag_m"), (span, "span"), (wire, "wire")):
        whole[of_row[order]] = spans[name][order]
    return {"greatest_sag_m": sag, "greatest_sag_span": span, "greatest_sag_wire": wire}


def _told_once(scene, rows):
    """True for rows that say something new: shield wires once, measured wires final, whatever the case says."""
    shape = scene.strung.horizontal_tension.shape
    measured = np.broadcast_to(scene.strung.measured_final[..., None], shape).ravel()
    again = (rows["wire_kind"] == "shield") & (rows["option"] != scene.options[0].name)
    return ~again & ~(measured & (rows["condition"] == "initial"))


def _shared(columns, kind):
    return columns | {"option": np.where(columns[kind] == "shield", EVERY, columns["option"])}


def chart_study(opened: Opened, temperatures: ArrayLike, *, returns: int = 3, progress: Progress | None = None
                ) -> Chart:
    """Find the stringing chart of every span: the wire as it is sagged, bare and in still air.

    New wires are in their initial condition, the existing one, and measured ones, in their final condition, as
    stretched by all loads that may have come. In
    that condition, on the day of stringing, or at the everyday temperature for the existing wire, strings are
    plumb, and all spans of a section have one tension. The check has phase wires keep the same lengths. In travellers,
    tension is equal along the wire of each sag section.

    Parameters
    ----------
    opened : Opened
    temperatures : array_like, shape (temperature,)
        Of the wire [°C].
    returns : int, optional
        Number of returns of a jerk that the watch counts.
    progress : callable, optional
        `progress(done, total)` in spans.
    """
    T = np.asarray(temperatures, float)
    # History looks at every case, whatever its condition.
    return Chart(*_joined((chart_rows(*each, T, returns),) for each in _scenes(opened, CONDITIONS[:1], progress)))


def write_sags(result: SagResult, folder: Path | str, guard: Guard = PLAIN) -> tuple[Path, ...]:
    """Write the tables of a SagResult as CSV, and return their paths.

    Raises
    ------
    InputError
        The folder is none, and cannot be made.
    """
    return write_csvs(folder, {"sags": result.sections, "sags_of_spans": result.spans}, guard)


def write_chart(chart: Chart, folder: Path | str, guard: Guard = PLAIN) -> tuple[Path, ...]:
    """Write a stringing chart as CSV, and return its path in a tuple; errors as of `write_sags`."""
    return write_csvs(folder, {"stringing": chart.rows}, guard)
