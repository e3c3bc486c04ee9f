"""Sheets for the crew: how the wire of each pull is pulled, sagged and clipped in, and what must be ready. A3, PDF."""

from textwrap import wrap

import matplotlib
import numpy as np
from matplotlib.backends.backend_pdf import PdfPages

from corridor.outputs.drawings.paper import HEIGHT, SHEET_STYLE, SMALL, WIDTH, blank, place, short_number
from corridor.outputs.guard import MARK

__all__ = ["draw_sheets"]

#: Pitch of rows of a table, and minimum distance from the border [mm].
_ROW, _EDGE = 4.3, 14.0
#: Rows of a table of readiness on one sheet.
_READY = 52
_GROUND, _UNKNOWN, _WIRE, _MACHINE = "#6b5d4a", "#b3402f", "#1f6a96", "#3f4c57"


def draw_sheets(path, result, cautions):
    """Write the sheets of all options: two for each pull, and what must be ready.

    Parameters
    ----------
    path : Path
        Of a PDF.
    result : corridor.jobs.stringing.StringingResult
    cautions : sequence of str
    """
    with matplotlib.rc_context(SHEET_STYLE), PdfPages(path, metadata={"CreationDate": None, "Creator": MARK}) as book:
        _save(book, _front(result, cautions))
        for option in result.options:
            for pull, profile in result.profiles.items():
                if _rows(result, "pulls", option=option, pull=pull[1], line=pull[0]):
                    _save(book, _pulling(result, option, pull, profile))
                    for sheet in _sagging(result, option, pull):
                        _save(book, sheet)
            for sheet in _readiness(result, option):
                _save(book, sheet)


def _save(book, figure):
    book.savefig(figure)


def _rows(result, layer, **keys):
    """Rows of a layer with these keys, as dicts."""
    columns = {name: column for name, column in result.layers[layer].items() if name != "geometry"}
    count = len(next(iter(columns.values()), ()))
    keep = [i for i in range(count) if all(columns[key][i] == value for key, value in keys.items())]
    return [{name: column[i] for name, column in columns.items()} for i in keep]


def _sheet(result, title, below):
    """An empty sheet with its title, and what it is of."""
    figure = blank()
    _write(figure, _EDGE, HEIGHT - 20, title, size=13, weight="bold")
    _write(figure, _EDGE, HEIGHT - 26, below, size=8.5)
    _write(figure, _EDGE, 12.5, "Study and planning aid: the makers' and the owner's instructions govern. What is not "
           "given is not passed.", color=_MACHINE)
    return figure


def _write(figure, left, bottom, text, *, size=SMALL, **more):
    return figure.text(left / WIDTH, bottom / HEIGHT, text, fontsize=size, va="baseline", **more)


def _table(figure, left, top, heads, widths, rows, *, title=None, words=(0,)):
    """Draw a table with its top left corner at a place [mm]; columns of `words` to the left, of numbers to the right.
    Return where it ends [mm]."""
    y = top
    if title:
        _write(figure, left, y, title, size=8.5, weight="bold")
        y -= 5
    edges = left + np.r_[0.0, np.cumsum(widths)]
    depth = max(len(head.split("\n")) for head in heads)
    axes = place(figure, 0, 0, WIDTH, HEIGHT)
    axes.set(xlim=(0, WIDTH), ylim=(0, HEIGHT))
    axes.axis("off")
    for k, head in enumerate(heads):
        for i, part in enumerate(head.split("\n")):
            _cell(axes, edges, k, y - 3.2 * i, part, k in words, weight="bold")
    y -= 3.2 * (depth - 1) + 1.6
    axes.plot([left, edges[-1]], [y, y], color="black", linewidth=0.6)
    y -= _ROW - 0.8
    for row in rows:
        for k, text in enumerate(row):
            _cell(axes, edges, k, y, text, k in words)
        y -= _ROW
    return y


def _cell(axes, edges, k, y, text, word, **more):
    axes.text(edges[k] + 0.5 if word else edges[k + 1] - 1.0, y, text, ha="left" if word else "right",
              va="baseline", fontsize=SMALL, clip_on=False, **more)


def _kn(value, digits=1):
    return short_number(np.round(value / 1e3, digits) + 0.0, digits)


def _front(result, cautions):
    """The options side by side, and the cautions."""
    figure = _sheet(result, "Putting the wire up", ", ".join(result.options))
    y = HEIGHT - 38
    heads = ("pull", "option", "length\nm", "puller at", "tensioner at", "tension\nkN", "% RTS", "% of\nsagging",
             "minimum height\nm", "crossings", "reels", "wire\nm", "work\nh")
    rows = [(row["pull"], row["option"], short_number(row["length_m"], 0), row["puller_at"], row["tensioner_at"],
             _kn(row["maximum_tension_n"]), short_number(row["percent_rts"]), short_number(row["percent_of_sagging"]),
             short_number(row["minimum_height_m"]), str(row["crossings"]), str(row["reels"] or "–"),
             short_number(row["wire_needed_m"], 0), short_number(row["hours"])) for row in _rows(result, "pulls")]
    kept = rows[:36]
    y = _table(figure, _EDGE, y, heads, (32, 46, 22, 24, 24, 20, 18, 20, 26, 22, 16, 22, 18), kept, words=(0, 1),
               title="Pulls, as hard as the rules allow")
    if len(rows) > len(kept):
        _write(figure, _EDGE, y, f"and {len(rows) - len(kept)} more, in layer pulls")
        y -= _ROW
    y = _kinds(figure, result, y - 4) - 4
    _write(figure, _EDGE, y, "Cautions", size=8.5, weight="bold")
    for caution in cautions:
        for i, line in enumerate(wrap(caution, 190)):
            y -= _ROW
            _write(figure, _EDGE, y, ("• " if i == 0 else "   ") + line)
    return figure


def _kinds(figure, result, y):
    """What each option asks of travellers and machines, and how much of it is ready."""
    rows = []
    for option in result.options:
        ready = _rows(result, "installation", option=option)
        states = [row["state"] for row in ready]
        asked = {row["check"]: row["limit_value"] for row in ready if row["pull"] is None}
        kinds = [row["check"].removeprefix("grips and fittings: ") for row in ready if row["pull"] is None
                 and row["check"].startswith("grips and fittings: ")]
        rows.append((option, ", ".join(kinds[1:] or kinds), *(short_number(asked.get(check), 2) for check in (
            "traveller diameter", "bullwheel diameter")), short_number(1e3 * asked.get(
                "traveller groove depth", float("nan")), 0), *(str(states.count(state)) for state in (
                    "failed", "not given", "passed"))))
    return _table(figure, _EDGE, y, ("option", "kind of wire", "travellers\nfrom m", "bullwheels\nfrom m",
                                     "grooves\nfrom mm", "checks\nfailed", "not given", "passed"),
                  (46, 78, 24, 24, 24, 20, 22, 20), rows, words=(0, 1), title="What each option asks for")


def _pulling(result, option, pull, profile):
    """How one pull is pulled: profile above, tables below."""
    own = {"option": option, "pull": pull[1], "line": pull[0]}
    row = _rows(result, "pulls", **own)[0]
    figure = _sheet(result, f"{pull[0]}, pull {pull[1]}: {option}", "Pulling")
    axes = place(figure, 26, 162, WIDTH - 46, 96)
    crossings = _rows(result, "pull_crossings", **own)
    _draw_profile(axes, profile, result.options_of_profiles.index(option), crossings, row)
    facts = [("length", f"{row['length_m']:.0f} m"), ("wires", f"{row['wires']}, {row['travellers']} travellers each"),
             ("puller", f"beyond {row['puller_at']}, {short_number(row['puller_distance_m'], 0)} m"),
             ("tensioner", f"beyond {row['tensioner_at']}, {short_number(row['tensioner_distance_m'], 0)} m"),
             ("tension at tensioner", f"{_kn(row['start_tension_n'])} kN"),
             ("tension at puller", f"{_kn(row['end_tension_n'])} kN"),
             ("maximum, anywhere", f"{_kn(row['maximum_tension_n'])} kN, {short_number(row['percent_rts'])} % RTS"),
             ("beside sagging tension", f"{short_number(row['percent_of_sagging'])} % of "
              f"{_kn(row['sagging_tension_n'])} kN"),
             ("allowed", f"{_kn(row['allowed_tension_n'])} kN: {row['allowed_by']}"),
             ("wire, with waste", f"{short_number(row['wire_needed_m'], 0)} m"),
             ("reels of each wire", str(row["reels"] or "–")),
             ("joints", row["joints"] or "–"), ("work", f"{short_number(row['hours'])} h")]
    y = _table(figure, _EDGE, 150, ("", ""), (34, 56), facts, title="Pull", words=(0, 1))
    for line in wrap(row["note"] or "", 60):
        _write(figure, _EDGE, y, line, color=_UNKNOWN)
        y -= _ROW
    heads = ("structure", "turn\n°", "traveller", "load\nkN", "down\nkN", "right\nkN", "ahead\nkN",
             "snubbed\ndown kN", "right\nkN", "ahead\nkN")
    rows = [(each["structure"] + (" held down" if each["held_down"] else ""), short_number(each["line_angle_deg"], 0),
             {"one": "one"}.get(each["traveller"], "two / larger"), *(_kn(each[name]) for name in (
                 "traveller_load_n", "pulling_down_n", "pulling_right_n", "pulling_ahead_n", "snubbed_down_n",
                 "snubbed_right_n", "snubbed_ahead_n"))) for each in _rows(result, "travellers", **own)]
    _fit(figure, 112, 150, heads, (24, 12, 19, 14, 14, 14, 14, 17, 14, 14), rows, "Travellers; loads of all wires")
    heads = ("span", "crosses", "m", "do")
    rows = [(each["span"], (each["obstacle"] or each["against"])[:26],
             short_number(each["separation_m"], 2), each["state"]) for each in crossings]
    _fit(figure, 276, 150, heads, (28, 52, 16, 28), rows, "Crossings: distance while pulled", words=(0, 1))
    return figure


def _fit(figure, left, top, heads, widths, rows, title, words=(0,)):
    """A table, cut where the sheet ends: the layers have the rest."""
    most = int((top - 24) / _ROW) - 3
    y = _table(figure, left, top, heads, widths, rows[:most], title=title, words=words)
    if len(rows) > most:
        _write(figure, left, y, f"and {len(rows) - most} more: see the layers", color=_UNKNOWN)


def _draw_profile(axes, profile, option, crossings, row):
    known = np.isfinite(profile.ground)
    axes.plot(profile.station, profile.ground, color=_GROUND, linewidth=0.8)
    floor = np.nanmin(np.r_[profile.ground[known], profile.base]) - 5
    axes.fill_between(profile.station, np.where(known, profile.ground, np.nan), floor, color=_GROUND, alpha=0.12,
                      linewidth=0)
    for a, b in _stretches(~known):
        axes.axvspan(profile.station[a], profile.station[b], facecolor="none", edgecolor=_UNKNOWN, hatch="///",
                     linewidth=0)
    for x, base, hook, name in zip(profile.at, profile.base, profile.hook, profile.structure, strict=True):
        axes.plot([x, x], [base, hook], color="black", linewidth=1.1)
        axes.annotate(name, (x, hook), xytext=(0, 4), textcoords="offset points", ha="center", fontsize=SMALL)
    wire = profile.wire[option]
    axes.plot(profile.wire_station, wire, color=_WIRE, linewidth=1.0)
    ends = ((0, row["tensioner_at"] == profile.structure[0]), (1, row["tensioner_at"] != profile.structure[0]))
    for k, tensioner in ends:
        at = (profile.at[0], profile.at[-1])[k]
        axes.plot([profile.machine[k], at], [profile.machine_elevation[k], profile.hook[(0, -1)[k]]], color=_WIRE,
                  linewidth=0.8, linestyle=(0, (4, 2)))
        axes.plot(profile.machine[k], profile.machine_elevation[k], marker="s", color=_MACHINE, markersize=5)
        axes.annotate("tensioner" if tensioner else "puller", (profile.machine[k], profile.machine_elevation[k]),
                      xytext=(0, -11), textcoords="offset points", ha="center", fontsize=SMALL)
    seen = -np.inf
    for each in sorted(crossings, key=lambda c: np.nan_to_num(c["station_m"])):
        if np.isfinite(each["station_m"]) and each["state"] != "clear":
            x = each["station_m"]
            axes.axvline(x, color=_UNKNOWN, linewidth=0.5, linestyle=":")
            if x - seen > 0.02 * np.ptp(profile.at):
                axes.annotate(f"{each['against']}: {each['state']}", (x, 0.015), xycoords=("data", "axes fraction"),
                              rotation=90, fontsize=SMALL, va="bottom", ha="right", color=_UNKNOWN)
                seen = x
    axes.set(xlabel="station [m]", ylabel="elevation [m]")
    axes.set_xlim(profile.machine[0] - 40, profile.machine[1] + 40)
    axes.set_ylim(floor, max(np.nanmax(profile.hook), np.nanmax(profile.ground[known])) + 8)
    axes.set_title("lowest wire while it is pulled; hatched: the ground is not known", loc="left", fontsize=SMALL)


def _stretches(mask):
    """First and last index of each run of True, one wider on both sides."""
    edges = np.flatnonzero(np.diff(np.r_[False, mask, False].astype(int)))
    return [(max(a - 1, 0), min(b, len(mask) - 1)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _sagging(result, option, pull):
    """Sheets of how sections of a pull are sagged and clipped in."""
    structures = list(result.profiles[pull].structure)
    spans = [f"{a}-{b}" for a, b in zip(structures[:-1], structures[1:], strict=True)]
    control = [row for row in _rows(result, "control_spans", option=option, line=pull[0]) if row["span"] in spans]
    figure = _sheet(result, f"{pull[0]}, pull {pull[1]}: {option}", "Sagging and clipping in")
    y = HEIGHT - 38
    heads = ("span", "wire", "wire\n°C", "length\nm", "rise\nm", "sag, targets\nm", "tension\nkN", "add for\ncreep m",
             "sight\n°", "from base\n°", "far target\nm", "3 returns\ns", "5 returns\ns", "10 returns\ns",
             "clipped in\nsag m", "kN")
    rows = [(row["span"] + ", core" * (row["condition"] == "core alone"), row["wire"], f"{row['temperature_c']:g}",
             short_number(row["span_length_m"]),
             short_number(row["wire_rise_m"], 2), short_number(row["traveller_sag_m"], 2),
             _kn(row["traveller_tension_n"], 2), short_number(row["creep_sag_m"], 2), short_number(row["sight_deg"], 2),
             short_number(row["base_sight_deg"], 2), short_number(row["base_target_m"], 2),
             short_number(row["return_3_s"], 2), short_number(row["return_5_s"], 2),
             short_number(row["return_10_s"], 2), short_number(row["clipped_sag_m"], 2),
             _kn(row["horizontal_tension_n"], 2)) for row in control]
    kept = rows[:34]
    y = _table(figure, _EDGE, y, heads, (32, 12, 14, 20, 18, 26, 20, 22, 18, 22, 24, 22, 22, 24, 24, 20), kept,
               words=(0, 1), title="Spans whose sag is watched, in travellers")
    y -= 3
    for row in _rows(result, "sag_tolerance", option=option, line=pull[0]):
        if row["control_span"] in spans:
            _write(figure, _EDGE, y, row["words"])
            y -= _ROW
    y -= 3
    marks = [row for row in _rows(result, "clipping_marks", option=option, line=pull[0])
             if row["structure"] in structures and row["section"] in {each["section"] for each in control}]
    heads = ("structure", "wire", "from plumb\nmark m", "from sheave\nm", "traveller\nleans m")
    cells = [(row["structure"], row["wire"], _signed(row["plumb_offset_m"]), _signed(row["clipping_offset_m"]),
              _signed(row["traveller_lean_m"])) for row in marks]
    most = max(int((y - 26) / _ROW) - 3, 0)
    for part in range(3):
        some = cells[part * most:(part + 1) * most]
        if some:
            _table(figure, _EDGE + 128 * part, y, heads, (30, 16, 24, 24, 24), some, words=(0, 1),
                   title="Clamps: + towards the end of the line" if part == 0 else " ")
    if len(cells) > 3 * most:
        _write(figure, _EDGE, 18, f"and {len(cells) - 3 * most} more marks, in layer clipping_marks", color=_UNKNOWN)
    return [figure]


def _signed(value):
    return "–" if value is None or value != value else f"{value:+.3f}"


def _readiness(result, option):
    """Sheets of what is not ready, what failed first; what passed is counted, and in its layer."""
    order = {"failed": 0, "not given": 1}
    whole = _rows(result, "installation", option=option)
    rows = sorted((row for row in whole if row["state"] in order), key=lambda row: order[row["state"]])
    cells = [(row["state"], row["pull"] or "", row["structure"] or "", row["check"][:46], _number(row["value"]),
              _number(row["limit_value"]), (row["unit"] or "")[:22], (row["note"] or row["source"] or "")[:118])
             for row in rows]
    sheets = []
    states = [row["state"] for row in whole]
    words = ", ".join(f"{states.count(state)} {state}" for state in ("failed", "not given", "passed"))
    for first in range(0, max(len(cells), 1), _READY):
        figure = _sheet(result, f"Ready to string: {option}", f"{words}; what passed is in layer installation")
        _table(figure, _EDGE, HEIGHT - 36, ("state", "pull", "structure", "check", "is", "rule", "unit", "note"),
               (22, 30, 22, 74, 20, 20, 38, 160), cells[first:first + _READY], words=(0, 1, 2, 3, 6, 7))
        sheets.append(figure)
    return sheets


def _number(value):
    if value is None or value != value:
        return ""
    return f"{value:.0f}" if abs(value) >= 1e4 else f"{np.round(value, 3) + 0.0:.4g}"
