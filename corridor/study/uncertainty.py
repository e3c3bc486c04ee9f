"""Table of a study for how sure its inputs are."""

from dataclasses import replace
from typing import Annotated, Literal

import numpy as np
from pydantic import Field, create_model

from corridor.line.uncertainty import Deviation, Uncertainty
from corridor.study.table import Read, Table, Text
from corridor.study.values import Measure
from corridor.units import KINDS

__all__ = ["ASSUMED", "UNITS", "UncertaintyTable", "assumed_inputs", "uncertainty_of"]

#: Source of an input that the study does not give.
ASSUMED = "assumed"
_WIRES = ("line", "section", "wire")

#: Of each input: what it is, kind of quantity, maximum deviation, that which is assumed (None: of each conductor its
#: own), and what errs alike, the assumed first. What is assumed is common practice or recalled, never looked up.
_INPUTS = {
    "ground": ("Elevation of the ground, and of what stands on it by its height.", "length", 10, 0.10,
               ("span", "section", "line")),
    "attachments": ("Where wires are held, in the direction in which a margin is measured.", "length", 10, 0.05,
                    ("structure", "section", "line")),
    "survey_temperature": ("Temperature of wires when their tension was measured.", "temperature_difference", 100, 5.0,
                           _WIRES),
    "survey_sag": ("Sag of the ruling span when it was measured.", "length", 10, 0.05, ("section", "line", "wire")),
    "stringing_sag": ("Sag of the ruling span when it was strung; of wires that were not measured.", "length", 10,
                      0.075, ("section", "line", "wire")),
    "expansion": ("Thermal expansion of both parts of wires, as a share.", "ratio", 0.5, 0.02, _WIRES),
    "modulus": ("Moduli of both parts of wires, curves too, as a share.", "ratio", 0.5, 0.05, _WIRES),
    "mass": ("Mass of wires, as a share.", "ratio", 0.5, 0.01, _WIRES),
    "creep": ("Permanent elongation by years, or the one that is given, as a share.", "ratio", 1, 0.25, _WIRES),
    "compression": ("Compression that the slack outer part takes.", "pressure", 1e8, None, _WIRES),
    "wire_temperature": ("Temperature of wires in cases at the maximum or in an emergency.", "temperature_difference",
                         100, 5.0, ("section", "line", "wire")),
}
#: Unit of each deviation; "" of a share.
UNITS = {name: KINDS[kind].unit for name, (_, kind, *_) in _INPUTS.items()}


def _table(name):
    """The table of one input."""
    what, kind, most, _, common = _INPUTS[name]
    return create_model(
        f"Deviation_{name}", __base__=Table, __doc__=what,
        sd=(Annotated[float, Read(Measure(kind, 0, most))], Field(description="Standard deviation.")),
        source=(Text, Field(description="Where it is from.")),
        common=(Literal[common], Field(common[0], description="What has one error in common.")))


def _told(name):
    """Words for what is assumed of an input."""
    _, kind, _, sd, common = _INPUTS[name]
    words = "that of a value anywhere within the conductor's own band" if sd is None else (
        f"{100 * sd:g} %" if kind == "ratio" else f"{sd:g} {KINDS[kind].unit}")
    return f"{words}, one error in each {common[0]}"


UncertaintyTable = create_model(
    "Uncertainty", __base__=Table,
    __doc__="How sure inputs are: standard deviations. What is not given is assumed, and the run says so.",
    **{name: (_table(name) | None, Field(None, description=f"{_INPUTS[name][0]} Assumed: {_told(name)}."))
       for name in _INPUTS})


def uncertainty_of(study, draws=0):
    """Return the deviations of all inputs, those that a study gives and those that are assumed.

    Parameters
    ----------
    study : Study
        Where it does not say how sure the temperature at a survey is, the widest band of its surveys is the standard
        deviation.
    draws : int
        How many draws are made of them.

    Returns
    -------
    Uncertainty or None
        None where the study has no such table and no draws are asked for.
    """
    table = study.uncertainty
    if table is None and not draws:
        return None
    inputs = {}
    for name, (*_, sd, common) in _INPUTS.items():
        given = getattr(table, name, None)
        inputs[name] = Deviation(given.sd, given.common, given.source, UNITS[name]) if given else Deviation(
            np.nan if sd is None else sd, common[0], ASSUMED, UNITS[name])
    if study.surveys and inputs["survey_temperature"].source == ASSUMED:
        inputs["survey_temperature"] = replace(
            inputs["survey_temperature"], sd=max(survey.temperature_band for survey in study.surveys),
            source="temperature_band of the surveys")
    return Uncertainty(inputs, draws)


def assumed_inputs(uncertainty):
    """Return what a run says of deviations that are assumed, a list of one sentence or none."""
    names = [] if uncertainty is None else [name for name, each in uncertainty.inputs.items() if each.source == ASSUMED]
    words = "; ".join(f"{name} {_told(name)}" for name in names)
    return [f"how sure inputs are is assumed, and no source given, of: {words}"] if names else []
