"""What options do to the voltage: series reactance by the framings of each circuit, and the drop at a current."""

from typing import NamedTuple

import numpy as np

from corridor.clearance.bundles import known_places
from corridor.electric.bundles import equivalent_radius
from corridor.electric.reactance import layer_counts, log_spacing, reactance, solid_counts, stranded_radius, tube_radius
from corridor.line.phases import phases_of
from corridor.rating.resistances import is_magnetic

__all__ = ["MeanDistance", "mean_distances", "mean_radius", "reactance_columns"]


class MeanDistance(NamedTuple):
    """Geometric mean `distance` of the phases of a circuit of a line [m], or the reason why there is none."""

    circuit: str
    distance: float
    reason: str


def mean_radius(conductor):
    """Return the geometric mean radius of a conductor [m], and in words where it is from; nan and why not.

    By its layers of round strands where these are known, else as a tube of aluminium about its core. Neither is
    magnetised; steel is, and so has no answer where it is all, or has one layer about it.
    """
    c = conductor
    layers = int(np.nan_to_num(c.outer_layers))
    if is_magnetic(c.outer_material):
        return np.nan, "a wire of steel magnetises itself: the reactance is that of measurements alone"
    if is_magnetic(c.core_material) and layers == 1:
        return np.nan, "one layer over steel magnetises its core: the reactance is that of measurements alone"
    if np.isnan(c.core_diameter):
        return tube_radius(c.diameter, 0.0), "mean radius estimated as of a solid wire, the core's diameter is unknown"
    strand = c.outer_wire_diameter
    strands = round(c.outer_area / (np.pi / 4 * strand**2)) if np.isfinite(strand) else 0
    counts = layer_counts(strands, layers) if c.core_diameter > 0 else solid_counts(strands) if strands > 1 else []
    if counts:
        return stranded_radius(counts, c.core_diameter, strand), f"mean radius by {len(counts)} layers of round strands"
    return tube_radius(c.diameter, c.core_diameter), "mean radius estimated as of a tube about the core"


def mean_distances(structures, framings):
    """Return the geometric mean distance of each circuit of each line, between its structures (`MeanDistance`).

    Of a span it is that at mid-span, where each wire is half way between both of its attachments; of a line the
    logarithmic mean by length.

    Parameters
    ----------
    structures : Structures
    framings : Framings
    """
    f = framings
    drop = np.where(np.isin(f.string, ("suspension", "vee")), f.string_length, 0.0)
    at = np.stack([f.offset, f.height - drop], axis=-1)
    rows = {name: np.flatnonzero(f.framing == name) for name in dict.fromkeys(f.framing)}
    tail = np.flatnonzero(structures.line[:-1] == structures.line[1:])
    place = np.stack([structures.easting, structures.northing], axis=-1)
    length = np.linalg.norm(place[tail + 1] - place[tail], axis=-1)
    pairs = list(zip(structures.framing[tail], structures.framing[tail + 1], strict=True))
    spaced = {pair: list(_spaced(f, at, *(rows[framing] for framing in pair))) for pair in dict.fromkeys(pairs)}
    sums = {}
    for i, size, pair in zip(tail, length, pairs, strict=True):
        for name, distance, why in spaced[pair]:
            part = sums.setdefault((structures.line[i], name), [0.0, 0.0, ""])
            part[0] += size * distance
            part[1] += size
            part[2] = part[2] or why
    several = len({line for line, _ in sums}) > 1
    return [MeanDistance(f"{line}: {name}" if several else name, np.nan if why else float(np.exp(total / size)), why)
            for (line, name), (total, size, why) in sums.items()]


def _spaced(framings, at, here, there):
    """Circuit, logarithm of its mean distance at mid-span, and why there is none, between two structures."""
    found, reasons = phases_of(framings.wire[here], framings.kind[here], framings.circuit[here])
    for name, wires in found.items():
        ends = [{framings.wire[i]: at[i] for i in side} for side in (here, there)]
        if name in reasons:
            yield name, np.nan, reasons[name]
        elif any(wire not in ends[1] for wire in wires):
            yield name, np.nan, f"circuit {name} does not hang at both ends of every span"
        else:
            middle = np.array([(ends[0][wire] + ends[1][wire]) / 2 for wire in wires])
            apart = np.linalg.norm(middle - np.roll(middle, 1, axis=0), axis=-1).min()
            yield name, (log_spacing(middle) if apart else np.nan), "" if apart else "two phases at one place"


def reactance_columns(heat, structures, framings):
    """Return the columns of the layer `options` that tell of reactance and voltage drop, one value per option.

    Of several circuits that with the greatest reactance; the drop is `sqrt(3) I |R + jX|`, line to line, which no
    power factor exceeds, with R at the temperature that the required current makes.

    Parameters
    ----------
    heat : Ratings
    structures : Structures
    framings : Framings
    """
    distances = mean_distances(structures, framings)
    known = [each.distance for each in distances if not each.reason]
    lacking = list(dict.fromkeys(each.reason for each in distances if each.reason))
    if not distances:
        lacking = ["no phase wires"]
    rows = [_row(heat, option, max(known, default=np.nan), lacking) for option in range(len(heat.options))]
    return {name: [row[name] for row in rows] for name in rows[0]}


def _row(heat, option, distance, lacking):
    wiring = heat.options[option].wiring
    radius, told = mean_radius(wiring.conductor)
    notes, places = [*lacking, told], known_places(wiring)
    if places is None:
        radius = np.nan
        notes.append("the spacing of the bundle is not given")
    else:
        radius = equivalent_radius(places, radius)
    X = float(reactance(heat.frequency, distance, radius))
    return {"mean_distance_m": distance, "mean_radius_m": radius, "reactance_ohm_per_km": 1e3 * X,
            "voltage_drop_v_per_km": 1e3 * _drop(heat, option, X), "reactance_note": "; ".join(notes)}


def _drop(heat, option, X):
    """Voltage drop at the required current, line to line [V/m]; nan where there is none, or the wire would melt."""
    current, n = heat.required_current, heat.options[option].wiring.bundle
    if heat.weather is None or current is None or np.isnan(X):
        return np.nan
    T = float(heat.temperature_at(option, current))
    if not np.isfinite(T):
        return np.nan
    R = float(heat.wires[option].resistance(T, current / n)) / n
    return np.sqrt(3) * current * np.hypot(R, X)
