"""Figures of exact less ruling-span sag, by span and temperature: the demo, and six uneven level spans.

    python -m tests.benchmarks.equilibrium_figures

writes `docs/equilibrium_demo.png` and `docs/equilibrium_uneven.png`, and prints the greatest differences as JSON.
"""

import json
from dataclasses import replace
from pathlib import Path

import matplotlib
import numpy as np

from corridor.assessment import make_scene
from corridor.geometry.catenary import greatest_sag
from corridor.inputs.study_inputs import read_inputs
from corridor.line.temperature_range import at_temperatures
from corridor.mechanics import ruling_span as ruling
from corridor.mechanics.clipping import clip_in
from corridor.mechanics.equilibrium import solve
from corridor.mechanics.supports import FREE, HELD, Supports
from corridor.opened import prepare
from corridor.study import load_study
from tests.benchmarks.equilibrium import EXPANSION, PART, STIFFNESS, STRING, STRING_WEIGHT, WEIGHT

matplotlib.use("Agg")
from matplotlib import pyplot as plt  # noqa: E402

ROOT = Path(__file__).parents[2]
TEMPERATURES = np.array([-20.0, 15.0, 50.0, 75.0, 100.0, 150.0])
UNEVEN = np.array([150.0, 400.0, 250.0, 350.0, 180.0, 420.0])


def uneven():
    """Exact less ruling-span sag [m], (temperature, span): level, clipped in at 15 °C and 28 kN."""
    hinge = np.zeros((1, len(UNEVEN) + 1, 3))
    hinge[0, 1:, 0] = np.cumsum(UNEVEN)
    kind = np.where(np.arange(len(UNEVEN) + 1) % len(UNEVEN) == 0, HELD, FREE)
    supports, count = Supports(hinge, kind, STRING, STRING_WEIGHT), len(TEMPERATURES)
    load, law = np.array([[[0, 0, -WEIGHT]]]), PART
    clipped = clip_in(supports, [28e3], load, [15.0], law)
    every = supports._replace(hinge=np.repeat(hinge, count, axis=0))
    found = solve(every, np.repeat(clipped.unstressed, count, axis=0), load, TEMPERATURES, law)
    chord = np.diff(found.end, axis=1)
    exact = greatest_sag(chord[..., 0], chord[..., 2], found.horizontal_tension / WEIGHT)
    span = np.sqrt((UNEVEN**3).sum() / UNEVEN.sum())
    excess = ruling.unstressed_excess(span, 28e3, WEIGHT, 15.0, law)
    H = ruling.tension(excess, span, WEIGHT, TEMPERATURES, law).horizontal_tension
    return exact - greatest_sag(UNEVEN, 0.0, H[:, None] / WEIGHT)


def demo():
    """Names and lengths [m] of the demo's spans, and the difference [m] of one phase of the thermal alloy."""
    inputs = read_inputs(load_study(ROOT / "demo_corridor" / "study.toml"))
    with inputs.terrain:
        facts, plan, _ = prepare(inputs)
        scene = make_scene(facts, plan, 0, len(plan.spans) - 1)[0]
    wires = np.flatnonzero(scene.wires.wire == "A")
    hung = at_temperatures(scene.model, wires, 1, TEMPERATURES, scene.strung.final)
    rough = at_temperatures(replace(scene.model, unstressed=None), wires, 1, TEMPERATURES, scene.strung.final)
    return scene.spans.name[scene.wires.span[wires]], scene.wires.length[wires], (hung.sag - rough.sag).T


def draw(path, names, difference, title):
    """Write one figure: spans along, a line of marks for each temperature."""
    figure, axes = plt.subplots(figsize=(9, 4.2), dpi=90, layout="constrained")
    shades = plt.get_cmap("coolwarm")(np.linspace(0, 1, len(TEMPERATURES)))
    at = np.arange(len(names))
    for i, (values, colour, mark) in enumerate(zip(difference, shades, "ov^sDP", strict=True)):
        axes.plot(at + (i - 2.5) * 0.06, values, mark, color=colour, markeredgecolor="0.3", markeredgewidth=0.4,
                  markersize=5, label=f"{TEMPERATURES[i]:g} °C")
    axes.axhline(0, color="0.4", linewidth=0.8)
    axes.set_xticks(at, names, rotation=90 if len(names) > 8 else 0, fontsize=7 if len(names) > 8 else 9)
    axes.set_ylabel("exact less ruling-span sag [m]\n(above 0: ruling span unsafe)")
    axes.set_title(title, fontsize=10)
    axes.grid(axis="y", alpha=0.3)
    axes.legend(ncols=6, fontsize=8, loc="lower center", frameon=False)
    low, high = axes.get_ylim()
    axes.set_ylim(low - 0.14 * (high - low), high)
    figure.savefig(path, metadata={"Software": None})
    plt.close(figure)


def main(folder=ROOT / "docs"):
    """Draw both, and return the greatest and least difference at each temperature [m]."""
    names, lengths, first = demo()
    draw(folder / "equilibrium_demo.png", [f"{n}  {s:.0f} m" for n, s in zip(names, lengths, strict=True)], first,
         "The demo, phase A of the thermal alloy, final, still air")
    second = uneven()
    draw(folder / "equilibrium_uneven.png", [f"{span:g} m" for span in UNEVEN], second,
         f"Six level spans clipped in at 15 °C and 28 kN; E A {STIFFNESS / 1e6:.1f} MN, {EXPANSION * 1e6:.1f}e-6 per K")
    return {name: {f"{T:g}": [round(float(f(row)), 3) for f in (np.nanmin, np.nanmax)]
                   for T, row in zip(TEMPERATURES, values, strict=True)}
            for name, values in (("demo", first), ("uneven", second))}


if __name__ == "__main__":
    print(json.dumps(main(), indent=2))
