"""The title block of a sheet: what was drawn, from what, and what to be careful of."""

from textwrap import fill

from corridor.outputs.drawings.paper import SMALL, place
from corridor.outputs.drawings.profile_facts import case_words

__all__ = ["draw_title", "told_words"]


def draw_title(figure, scene, sheet):
    """Draw the title block of a sheet.

    Parameters
    ----------
    figure : Figure
    scene : corridor.outputs.drawings.scenes.Scene
    sheet : corridor.outputs.drawings.paper.Sheet
    """
    axes = place(figure, 10, 10, 400, 33)
    axes.set(xlim=(0, 400), ylim=(0, 33), xticks=[], yticks=[])
    for x in (104, 202, 310, 362):
        axes.plot([x, x], [0, 33], color="black", linewidth=0.5)
    run, option = scene.layers["run"].iloc[0], _option(scene)
    axes.text(3, 30, fill(scene.title, 48), fontsize=9, fontweight="bold", va="top")
    cases = fill(f"Cases drawn: {', '.join(case_words(scene, case) for case in scene.cases)}", 72)
    axes.text(3, 21.5, f"Line {sheet.line}\nOption {scene.option!r}: {option['conductor']}, "
              f"{option['maximum_temperature_c']:g} °C\n{cases}\n"
              f"This option: {option['violations']} violations, {option['not_assessed']} not assessed (all cases)"
              f"{_nowhere(scene)}",
              fontsize=SMALL, va="top", linespacing=1.3)
    axes.text(107, 31, fill(f"Grid: {run['frame']}", 66) + f"\nElevations [{run['vertical_unit']} read, m drawn] "
              "above: "
              f"{run['vertical_datum']}\nHorizontal 1:{sheet.horizontal:.0f}, vertical 1:{sheet.vertical:.0f} on A3, "
              f"exaggerated {sheet.horizontal / sheet.vertical:g} times\nStudy {run['study']}, digest\n"
              f"{run['study_digest'][:32]}\n{run['study_digest'][32:]}\nFindings of {str(run['time'])[:16]} UTC, "
              f"corridor {run['software_version']}", fontsize=SMALL, va="top", linespacing=1.2)
    axes.text(205, 31.5, "\n".join(fill(line, 76) for line in (run["cautions"] or "").splitlines()),
              fontsize=SMALL, va="top", linespacing=1.05)
    _draw_fields(axes)
    axes.text(381, 24, "SHEET", fontsize=SMALL, ha="center")
    axes.text(381, 13, f"{sheet.number} / {sheet.count}", fontsize=13, ha="center", fontweight="bold")
    axes.text(381, 4, "NOT FOR CONSTRUCTION", fontsize=SMALL, ha="center")


def _draw_fields(axes):
    """Empty fields for revisions, and for who drew, checked and approved."""
    for y in (5.5, 11, 16.5, 22, 27.5):
        axes.plot([310, 362], [y, y], color="black", linewidth=0.3)
    axes.plot([322, 322], [16.5, 33], color="black", linewidth=0.3)
    axes.plot([342, 342], [0, 33], color="black", linewidth=0.3)
    for x, y, words in ((311, 30.2, "Rev."), (323, 30.2, "Date"), (343, 30.2, "By"), (311, 13.7, "Drawn"),
                        (311, 8.2, "Checked"), (311, 2.7, "Approved")):
        axes.text(x, y, words, fontsize=SMALL, va="center")


def told_words(scenes):
    """Return lines that say what was drawn of some options of a study, from what, and what to be careful of.

    Parameters
    ----------
    scenes : sequence of corridor.outputs.drawings.scenes.Scene
    """
    run, lines = scenes[0].layers["run"].iloc[0], [scenes[0].title]
    for scene in scenes:
        option = _option(scene)
        lines += [f"Option {scene.option!r}: {option['conductor']}, {option['maximum_temperature_c']:g} °C; "
                  f"{option['violations']} violations, {option['not_assessed']} not assessed (all cases)"
                  f"{_nowhere(scene)}".replace("\n", "; ")]
    cases = ", ".join(case_words(scenes[0], case) for case in scenes[0].cases)
    return [*lines, f"Cases drawn: {cases}", f"Grid: {run['frame']}",
            f"Elevations [{run['vertical_unit']} read, m drawn] above: {run['vertical_datum']}",
            f"Study {run['study']}, digest {run['study_digest']}",
            f"Findings of {str(run['time'])[:16]} UTC, corridor {run['software_version']}",
            *(run["cautions"] or "").splitlines(), "NOT FOR CONSTRUCTION"]


def _nowhere(scene):
    """What was not assessed on no span in particular: it is on no profile, so it is told on every sheet."""
    gaps = scene.rows("not_assessed", every_case=True)
    things = dict.fromkeys(gaps.loc[gaps["span"].isna(), "against"].fillna("anything"))
    return "\n" + fill(f"NOT ASSESSED on any span: {', '.join(things)}", 72) if things else ""


def _option(scene):
    frame = scene.layers["options"]
    return frame[frame["option"] == scene.option].iloc[0]
