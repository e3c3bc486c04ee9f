"""What a page carries, from the layers of the findings: columns sorted by span, in steps of a centimetre or less."""

import numpy as np
import shapely

from corridor.outputs.page.shapes import pack_envelopes

__all__ = ["LAYERS", "NEEDED", "pack_findings", "routes"]

#: Layers of the findings that a page is made from.
LAYERS = ("structures", "spans", "sections", "wires", "clearances", "violations", "swing_envelopes", "structure_loads",
          "limits", "ladder", "not_assessed", "doubts", "options", "uncertainty", "surveyed_wires", "run",
          "inputs")
#: Columns of the largest layer that a page needs; of the others it reads all.
NEEDED = {"wires": ("line", "span", "wire", "kind", "option", "case", "sag_m", "swing_deg")}
#: Columns of the sections that a page shows.
_SECTION = ("line", "section", "wire_kind", "option", "case", "ruling_span_m", "temperature_c", "horizontal_tension_n",
            "maximum_tension_n", "percent_rts", "catenary_constant_m", "knee_temperature_c", "condition",
            "governing_limit")
#: Shares of a wire at which its drop is kept.
_SHARES = np.array([0.25, 0.5, 0.75])


def routes(spans):
    """Return the ends of the spans, easting, northing and elevation [m], shape (span, 2, 3)."""
    return shapely.get_coordinates(spans["geometry"], include_z=True).reshape(-1, 2, 3)


def pack_findings(layers, packer):
    """Return the content of a page as far as the findings give it.

    Parameters
    ----------
    layers : dict of dict of ndarray
        Layers by name, each a dict of columns; "geometry" holds shapely geometries.
    packer : Packer
        Takes the arrays.
    """
    spans, route = layers["spans"], routes(layers["spans"])
    number = {key: i for i, key in enumerate(zip(spans["line"], spans["span"], strict=True))}
    # Galloping is a case of clearances alone, and wires may stand in those that govern alone.
    cases = dict.fromkeys(case for layer in ("sections", "clearances") for case in layers[layer]["case"])
    names = {"option": list(layers["options"]["option"]), "case": list(cases),
             "wire": list(dict.fromkeys(layers["wires"]["wire"]))}
    tables = {name: packer.table(_plain(layers[name]))
              for name in ("options", "violations", "limits", "ladder", "not_assessed", "uncertainty",
                           "surveyed_wires", "inputs")}
    tables["sections"] = packer.table({name: layers["sections"][name] for name in _SECTION})
    tables["structure_loads"] = packer.table(_worst_loads(_plain(layers["structure_loads"])))
    content = {"names": names, "run": _run(layers["run"]), "tables": tables, "spans": _spans(layers, route, packer),
               "structures": packer.table(_plain(layers["structures"], place=True)),
               "wires": _wires(layers["wires"], number, names, spans, route, packer),
               "clearances": _clearances(layers["clearances"], number, names, packer),
               "envelopes": _envelopes(layers["swing_envelopes"], number, names, packer)}
    tables["violations"] |= packer.table(_place(layers["violations"]["geometry"]))
    return content


def _plain(columns, *, place=False):
    kept = {name: values for name, values in columns.items() if name != "geometry"}
    return kept | _place(columns["geometry"]) if place else kept


def _place(points):
    """Columns easting and northing [m] of points."""
    return {"easting": shapely.get_x(points), "northing": shapely.get_y(points)}


def _worst_loads(columns):
    """Of every structure and option the row that exceeds the existing wire most, or else pulls across most, and the one
    that takes most of a capacity; and every wire whose string is lifted, in the case with the minimum vertical pull."""
    name = "line", "structure", "option"
    keys = _numbers(columns, name), _numbers(columns, (*name, "wire"))
    ratio, across = (np.nan_to_num(np.abs(np.asarray(columns[name], float)), nan=-1.0)
                     for name in ("ratio_to_existing", "transverse_n"))
    worst = np.lexsort((-across, -ratio, keys[0]))
    worst = worst[np.unique(keys[0][worst], return_index=True)[1]]
    lifted = np.lexsort((np.nan_to_num(np.asarray(columns["vertical_n"], float)), keys[1]))
    lifted = lifted[np.asarray(columns["uplift"], float)[lifted] == 1]
    lifted = lifted[np.unique(keys[1][lifted], return_index=True)[1]]
    used = np.nan_to_num(np.asarray(columns["of_capacity"], float), nan=-1.0)
    fullest = np.lexsort((-used, keys[0]))
    fullest = fullest[np.unique(keys[0][fullest], return_index=True)[1]]
    chosen = np.union1d(np.union1d(worst, lifted), fullest[used[fullest] >= 0]).astype(int)
    return {name: values[chosen] for name, values in columns.items()}


def _numbers(columns, names):
    """A number for each distinct key of some columns."""
    result = np.zeros(len(columns[names[0]]), int)
    for name in names:
        texts, codes = np.unique(columns[name].astype(str), return_inverse=True)
        result = np.unique(result * len(texts) + codes, return_inverse=True)[1]
    return result


def _envelopes(columns, number, names, packer):
    _, order, first = _of_span(columns, number)
    keys = _keys(columns, order, {"option": names["option"], "case": names["case"]}, packer)
    return pack_envelopes(columns, order, first, keys, packer)


def _run(run):
    return {name: str(values[0]) for name, values in run.items() if name != "inputs" and values[0] is not None}


def _spans(layers, route, packer):
    """Spans, with their ends and the station at which each begins [m]."""
    structures, spans = layers["structures"], layers["spans"]
    keys = zip(structures["line"], structures["structure"], strict=True)
    station = dict(zip(keys, structures["station_m"], strict=True))
    begin = [station[key] for key in zip(spans["line"], spans["from_structure"], strict=True)]
    ends = {f"{axis}{end}": route[:, end, i] for end in (0, 1) for i, axis in enumerate(("e", "n", "z"))}
    return packer.table(_plain(spans) | ends | {"station_m": np.array(begin, float)})


def _of_span(columns, number):
    """Number of the span of each row, the order that sorts rows by it, and where each span begins."""
    span = np.array([number[key] for key in zip(columns["line"], columns["span"], strict=True)], int)
    order = np.argsort(span, kind="stable")
    first = np.searchsorted(span[order], np.arange(len(number) + 1))
    return span[order], order, first.astype("int32")


def _keys(columns, order, names, packer):
    return {key: packer.codes(columns[key][order], known) for key, known in names.items()}


def _clearances(columns, number, names, packer):
    """All that was compared: margins in 0.1 mm, places in cm; margins rounded down, so that no violation is lost."""
    _, order, first = _of_span(columns, number)
    rows = {"first": packer.array(first)} | _keys(columns, order, names, packer)
    for name in ("against", "obstacle", "measure", "position", "rule", "rule_confidence"):
        rows[name] = packer.codes(columns[name][order])
    rows["margin_m"] = packer.whole(columns["margin_m"][order], 1e-4, down=True)
    rows["required_m"] = packer.whole(columns["required_m"][order], 1e-3)
    sure = np.isfinite(np.asarray(columns["margin_sd_m"], float)).any()
    for name in ("margin_sd_m", "probability_short") if sure else ():
        rows[name] = packer.whole(columns[name][order], 1e-4)
    for name in ("distance_from_start_m", "offset_m", "wire_elevation_m", "other_elevation_m"):
        rows[name] = packer.whole(columns[name][order], 0.01)
    return rows


def _wires(columns, number, names, spans, route, packer):
    """Wires as ends, three drops below their chord and how far the middle is blown aside, in cm.

    Along (`x`), right of (`o`) the chord of the span, and elevation (`z`); `d` the vertical drop at 1/4, 1/2 and 3/4.
    """
    span, order, first = _of_span(columns, number)
    rows = {"first": packer.array(first)} | _keys(columns, order, names, packer)
    rows["kind"] = packer.codes(columns["kind"][order])
    rows["sag_m"] = packer.whole(columns["sag_m"][order], 0.01, "int16")
    for name, values in _shape(columns["geometry"][order], span, spans["ground_factor"], route).items():
        rows[name] = packer.whole(values, 0.01, "int32" if name[0] == "z" else "int16")
    return rows


def _shape(geometry, span, factor, route):
    """Ends, drops and bow of wires; x1 is less the length of the span."""
    points, which = shapely.get_coordinates(geometry, include_z=True, return_index=True)
    way = route[:, 1, :2] - route[:, 0, :2]
    length = np.linalg.norm(way, axis=-1)
    along = (way / length[:, None])[span[which]]
    moved = points[:, :2] - route[span[which], 0, :2]
    scale = factor[span[which]]
    x = (moved * along).sum(axis=-1) * scale
    o = (moved[:, 0] * along[:, 1] - moved[:, 1] * along[:, 0]) * scale
    last = np.searchsorted(which, np.arange(len(geometry)), side="right") - 1
    first = np.searchsorted(which, np.arange(len(geometry)))
    share = (x - x[first][which]) / (x[last] - x[first])[which]
    at = [_at(which, share, first, last, s) for s in _SHARES]
    result = {f"{name}{i}": values[end] for name, values in (("x", x), ("o", o), ("z", points[:, 2]))
              for i, end in enumerate((first, last))}
    for i, (s, (j, w)) in enumerate(zip(_SHARES, at, strict=True)):
        chord = points[first, 2] + s * (points[last, 2] - points[first, 2])
        result[f"d{i}"] = chord - ((1 - w) * points[j, 2] + w * points[j + 1, 2])
    j, w = at[1]
    result["bow"] = (1 - w) * o[j] + w * o[j + 1] - (o[first] + o[last]) / 2
    result["x1"] = result["x1"] - (length * factor)[span]
    return result


def _at(which, share, first, last, wanted):
    """Vertex before a share of each wire, and the weight of the one after."""
    before = np.bincount(which[share <= wanted], minlength=len(first))
    j = np.clip(first + before - 1, first, np.maximum(last - 1, first))
    return j, (wanted - share[j]) / np.maximum(share[np.minimum(j + 1, len(share) - 1)] - share[j], 1e-12)
