"""The title block of a sheet: what was drawn, from what, and what to be careful of."""

from textwrap import fill

from corridor.outputs.drawings.paper import place

__all__ = ["draw_title"]


def draw_title(figure, scene, sheet):
    """Draw the title block of a sheet.

    Parameters
    ----------
    figure : Figure
    scene : corridor.outputs.drawings.sheets.Scene
    sheet : corridor.outputs.drawings.paper.Sheet
    """
    axes = place(figure, 10, 10, 400, 33)
    axes.set(xlim=(0, 400), ylim=(0, 33), xticks=[], yticks=[])
    for x in (112, 206, 362):
        axes.plot([x, x], [0, 33], color="black", linewidth=0.5)
    run, option = scene.layers["run"].iloc[0], _option(scene)
    axes.text(3, 30, fill(scene.title, 52), fontsize=9, fontweight="bold", va="top")
    axes.text(3, 19, f"Line {sheet.line}\nOption {scene.option!r}: {option['conductor']}, "
              f"{option['maximum_temperature_c']:g} °C\nCases drawn: {', '.join(scene.cases)}\n"
              f"This option: {option['violations']} rows short, {option['not_assessed']} not assessed (all cases)"
              f"{_nowhere(scene)}",
              fontsize=6.5, va="top", linespacing=1.35)
    axes.text(115, 30, fill(f"Grid: {run['frame']}", 62) + f"\nElevations [{run['vertical_unit']} read, m drawn] "
              "above: "
              f"{run['vertical_datum']}\nHorizontal 1:{sheet.horizontal:.0f}, vertical 1:{sheet.vertical:.0f} on A3, "
              f"exaggerated {sheet.horizontal / sheet.vertical:g} times\nStudy {run['study']}, digest\n"
              f"{run['study_digest'][:32]}\n{run['study_digest'][32:]}\nFindings of {str(run['time'])[:16]} UTC, "
              f"corridor {run['software_version']}", fontsize=5.8, va="top", linespacing=1.35)
    axes.text(209, 30, "\n".join(fill(line, 108) for line in (run["cautions"] or "").splitlines()),
              fontsize=5.8, va="top", linespacing=1.3)
    axes.text(381, 24, "SHEET", fontsize=6.5, ha="center")
    axes.text(381, 13, f"{sheet.number} / {sheet.count}", fontsize=13, ha="center", fontweight="bold")
    axes.text(381, 4, "NOT FOR CONSTRUCTION", fontsize=5.5, ha="center")


def _nowhere(scene):
    """What was not assessed on no span in particular: it is on no profile, so it is told on every sheet."""
    gaps = scene.rows("not_assessed", every_case=True)
    things = dict.fromkeys(gaps.loc[gaps["span"].isna(), "against"].fillna("anything"))
    return "\n" + fill(f"NOT ASSESSED on any span: {', '.join(things)}", 72) if things else ""


def _option(scene):
    frame = scene.layers["options"]
    return frame[frame["option"] == scene.option].iloc[0]
