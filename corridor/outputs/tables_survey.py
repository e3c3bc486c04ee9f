"""Text of surveyed wires for the terminal."""

from textwrap import wrap

import numpy as np

from corridor.outputs.tables import WIDTH, aligned, number

__all__ = ["survey_text", "wrapped"]


def survey_text(layers):
    """Return lines of what surveys come to, a row a span.

    Parameters
    ----------
    layers : dict of dict of ndarray
        Of `corridor.jobs.survey.SurveyResult`.
    """
    spans = layers["surveyed_spans"]
    if not spans:
        return ["No span with surveyed points."]
    above = ("", "", "wires", "of", "tension", "sag", "at")
    head = ("span", "section", "used", "", "kN", "m lower", "°C")
    columns = (spans[name] for name in ("span", "section", "wires_used", "wires_fitted", "horizontal_tension_n",
                                        "sag_difference_m", "temperature_c"))
    cells = [[span, section, str(used), str(of), number(H / 1e3, ".2f"), number(lower, "+.2f"), number(T, ".0f")]
             for span, section, used, of, H, lower, T in zip(*columns, strict=True)]
    notes = [f"{span}: {text}" for key in ("reason", "note")
             for span, text in zip(spans["span"], spans[key], strict=True) if text]
    lines = ["Wires as surveyed: mean horizontal tension, and by how much the lowest hangs",
             "lower than the line as described, in the same state.", "",
             *aligned(head, cells, left=2, above=above)]
    greatest = np.fmax.reduce(np.asarray(spans["sag_difference_m"], float))
    lines += ["", f"Maximum: {greatest:+.2f} m." if np.isfinite(greatest) else "No wire is used."]
    return [*lines, *wrapped(notes)]


def wrapped(texts):
    """Return texts as lines of a terminal."""
    return [part for text in texts for part in wrap(text, WIDTH.get(), subsequent_indent="  ")]
