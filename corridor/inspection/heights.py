"""Doubts about heights of the line: bases against the ground, attachments and strings against the voltage."""

import numpy as np

from corridor.inspection.around import place_of
from corridor.inspection.doubt import COMMON, SERIOUS, Doubt, Kind, gathered

__all__ = ["KINDS", "attachments", "bases", "strings"]

BASE_OFFSET = Kind(
    "base-offset", SERIOUS, "bases of structures lie above or below the ground raster throughout",
    "heights above the ellipsoid, an old vertical datum, feet read as metres, the length of a string, or heights of "
    "attachments or of the centre of a foundation in the place of bases; or a raster in another unit or datum",
    "median difference of three structures or more above 0.5 m, a quarter of the relief within a cell, and "
    "three standard errors",
    "foundations stand up to half a metre out of the ground: " + COMMON,
    "bring both to one datum and unit (structures.base_elevation_unit, terrain.vertical_unit), or leave the bases out: "
    "then the raster gives them")
BASE_SINGLE = Kind(
    "base-single", SERIOUS, "the base of a structure does not fit the ground raster",
    "a digit typed wrong, two structures exchanged, a stand-in for none, a structure in the wrong place",
    "off the median difference by more than 1.5 m, the relief within a cell and six standard deviations; "
    "or below -430 m or above 8,850 m", "the lowest and highest land; else " + COMMON,
    "look the structure up; correct it, or leave its base empty: then the raster gives it")
ATTACHMENT_HEIGHT = Kind(
    "attachment-height", SERIOUS, "wires hang unlike what the voltage makes likely",
    "feet read as metres, heights above the sea in the place of heights above the base, a wrong voltage",
    "lowest phase of a framing below 5 m + 1 cm/kV or above 30 m + 10 cm/kV", COMMON,
    'write the unit (framings.length_unit = "ft"), or correct the heights; accept a structure that is so high')
FRAMING_UNLIKE = Kind(
    "framing-unlike", SERIOUS, "a wire hangs unlike the others",
    "one row in another unit, a digit typed wrong, a point missing",
    "height of a phase above 2.6 times, or below a 2.6th of, the median of all framings, or an offset beyond 40 m",
    "3.28 less what framings differ by: " + COMMON, "look the row up and correct it; accept it where it is so")
STRING_LENGTH = Kind(
    "string-length", SERIOUS, "strings are unlike what the voltage makes likely",
    "feet or millimetres read as metres, a length that was left at 0 (wires then hang too high), a wrong voltage",
    "suspension string or V of a phase shorter than 4.5 mm/kV or longer than 1 m + 20 mm/kV",
    "insulation takes some 10 mm/kV along the string: " + COMMON,
    'write the unit (framings.length_unit), correct the length, or the voltage of the study')
KINDS = (BASE_OFFSET, BASE_SINGLE, ATTACHMENT_HEIGHT, FRAMING_UNLIKE, STRING_LENGTH)

#: Metres in a foot, either way, and how near a ratio must come to it.
_FOOT, _NEAR_FOOT = 0.3048, 0.03
_LOWEST_LAND, _HIGHEST_LAND = -430.0, 8850.0


def bases(evidence):
    """Yield doubts about given bases: the offset they have in common, and single ones."""
    s, under = evidence.inputs.structures, evidence.under
    given = np.flatnonzero(~np.isnan(s.base_elevation))
    base, ground = s.base_elevation[given], under.base[given]
    known = np.isfinite(ground)
    common, spread = 0.0, 0.0
    if known.sum() >= 3:
        off = (base - ground)[known]
        common = float(np.median(off))
        spread = 1.4826 * float(np.median(np.abs(off - common)))
        yield from _offset(evidence, base[known], ground[known], common, spread, under.relief[given[known]])
    limit = np.maximum(np.nan_to_num(under.relief[given]), max(1.5, 6 * spread))
    wrong = (np.abs(base - ground - common) > limit) | (base < _LOWEST_LAND) | (base > _HIGHEST_LAND)
    i = np.flatnonzero(wrong)
    yield from gathered(
        BASE_SINGLE, evidence.files["structures"], "structures", _names(s, given[i]),
        [f"base at {b:.1f} m, ground at {z:.1f} m" if np.isfinite(z) else f"base at {b:.1f} m" for b, z in
         zip(base[i], ground[i], strict=True)], f"a base within {limit.min(initial=1.5):.1f} m of the ground"
        + (f" + {common:+.1f} m, as the others" if abs(common) > 0.5 else ""),
        [place_of(s, k, z) for k, z in zip(given[i], ground[i], strict=True)], of=len(given))


def _offset(evidence, base, ground, common, spread, relief):
    limit = max(0.5, float(np.nanmedian(relief)) / 4, 3 * spread / np.sqrt(len(base)))
    if abs(common) <= limit:
        return
    ratio = float(np.median(base / np.where(ground == 0, np.nan, ground)))
    words = {"the bases look like feet": ratio * _FOOT, "the raster looks like feet": ratio / _FOOT}
    hint = "".join(f"; {text}" for text, value in words.items() if abs(value - 1) < _NEAR_FOOT)
    side = "above" if common > 0 else "below"
    yield Doubt(BASE_OFFSET, evidence.files["structures"], "structures",
                f"bases lie {abs(common):.2f} m {side} the ground in the median of {len(base)} structures "
                f"(spread {spread:.2f} m){hint}", f"a median within {limit:.2f} m of the ground")


def attachments(evidence):
    """Yield doubts about the heights and offsets at which phases hang."""
    f, U = evidence.inputs.framings, evidence.kilovolts
    used = set(evidence.inputs.structures.framing.tolist())
    rows = np.flatnonzero((f.kind == "phase") & np.isin(f.framing.astype(str), sorted(used)))
    if not len(rows):
        return
    low, high = 5 + 0.01 * U, 30 + 0.1 * U
    framings, which = np.unique(f.framing[rows].astype(str), return_inverse=True)
    least = np.full(len(framings), np.inf)
    np.minimum.at(least, which, _wire_height(f, rows))
    i = np.flatnonzero((least < low) | (least > high))
    file = evidence.files["framings"]
    yield from gathered(ATTACHMENT_HEIGHT, file, "framings", framings[i],
                        [f"lowest phase {z:.1f} m above the base" for z in least[i]],
                        f"{low:.1f} to {high:.1f} m at {U:g} kV", of=len(framings))
    usual = float(np.median(f.height[rows]))
    ratio = f.height[rows] / usual if usual > 0 else np.ones(len(rows))
    k = rows[(ratio > 2.6) | (ratio < 1 / 2.6) | (np.abs(f.offset[rows]) > 40)]
    yield from gathered(FRAMING_UNLIKE, file, "framings", [f"{f.framing[r]} {f.wire[r]}" for r in k],
                        [f"height {f.height[r]:g} m, offset {f.offset[r]:g} m" for r in k],
                        f"a height like the {usual:.1f} m of the others, an offset within 40 m", of=len(rows))


def strings(evidence):
    """Yield doubts about the strings on which phases hang."""
    f, U = evidence.inputs.framings, evidence.kilovolts
    used = set(evidence.inputs.structures.framing.tolist())
    rows = np.flatnonzero((f.kind == "phase") & np.isin(f.string.astype(str), ["suspension", "vee"])
                          & np.isin(f.framing.astype(str), sorted(used)))
    low, high = 0.0045 * U, 1 + 0.02 * U
    k = rows[(f.string_length[rows] < low) | (f.string_length[rows] > high)]
    yield from gathered(STRING_LENGTH, evidence.files["framings"], "framings",
                        [f"{f.framing[r]} {f.wire[r]}" for r in k],
                        [f"{f.string[r]} of {f.string_length[r]:g} m" for r in k],
                        f"{low:.2f} to {high:.2f} m at {U:g} kV", of=len(rows))


def _wire_height(framings, rows):
    hung = np.isin(framings.string[rows].astype(str), ["suspension", "vee"])
    return framings.height[rows] - np.where(hung, framings.string_length[rows], 0.0)


def _names(structures, which):
    one = len(set(structures.line.tolist())) == 1
    return [structures.structure[i] if one else f"{structures.line[i]} {structures.structure[i]}" for i in which]
