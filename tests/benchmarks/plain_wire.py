"""The wire of the plain script: change of state of a section, and the shape of one span.

Level ruling span and inclined catenary as handbooks give them, one state or one span at a time.
"""

import math

import numpy as np
from scipy.optimize import brentq

G = 9.80665


def conductor_strain(F, T, c, final):
    """Strain of a two-part conductor under a mean tension [N] at a temperature [°C]."""
    Ko, Kc = c["outer_area"] * c["outer_modulus"], c["core_area"] * c["core_modulus"]
    eo = c["outer_expansion"] * (T - 20) + (c["permanent_set"] if final else 0.0)
    ec = c["core_expansion"] * (T - 20)
    e = (F + Ko * eo + Kc * ec) / (Ko + Kc)
    least = -c["compression"] * c["outer_area"]
    return e if Ko * (e - eo) >= least else ec + (F - least) / Kc


def length_and_mean_tension(S, H, w):
    """Arc length [m] and mean tension [N] of a level span."""
    C = H / w
    L = 2 * C * math.sinh(S / (2 * C))
    return L, H / (2 * L) * (S + C * math.sinh(S / C))


def unstressed_length(S, H, w, T, c):
    """Length of the wire at 20 °C without tension [m], strung to H [N], final."""
    L, F = length_and_mean_tension(S, H, w)
    return L / (1 + conductor_strain(F, T, c, True))


def horizontal_tension(L0, S, w, T, c, final):
    """Horizontal tension [N] of a level span of wire of unstressed length L0 [m]."""

    def gap(H):
        L, F = length_and_mean_tension(S, H, w)
        return L - L0 * (1 + conductor_strain(F, T, c, final))

    return brentq(gap, w * S / 6, w * S * 1000, xtol=1e-6, rtol=1e-13)


def states(study):
    """Weight [N/m], temperature [°C], condition and names of every option and case."""
    wires = {c["name"]: c for c in study["conductors"]}
    table = []
    for option in study["options"]:
        c = wires[option["conductor"]]
        for case in study["cases"]:
            T = {
                "maximum": option["maximum_temperature"],
                "emergency": option["emergency_temperature"],
            }.get(case["temperature"], case["temperature"])
            ice, density = case.get("ice", 0.0), case.get("ice_density", 913)
            w = c["mass"] * G + math.pi * density * G * ice * (c["diameter"] + ice)
            condition = case.get("condition", "final")
            table.append(
                {
                    "option": option,
                    "case": case["name"],
                    "conductor": c,
                    "T": float(T),
                    "w": w,
                    "condition": condition,
                }
            )
    return table


def section_tensions(S, table):
    """Horizontal tension of one section, of ruling span S [m], in every state [N]."""
    tensions, unstressed = [], {}
    for state in table:
        c, option = state["conductor"], state["option"]
        if option["name"] not in unstressed:
            limit = option["stringing"][0]
            bare = c["mass"] * G
            constant = float(limit["limit"].split()[0])
            unstressed[option["name"]] = unstressed_length(
                S, constant * bare, bare, limit["temperature"], c
            )
        L0 = unstressed[option["name"]]
        tensions.append(
            horizontal_tension(L0, S, state["w"], state["T"], c, state["condition"] == "final")
        )
    return np.array(tensions)


def heights(t, S, za, zb, C):
    """Elevation of a catenary at shares t of its span, one row for each constant in C."""
    C = C[:, None]
    h = zb - za
    x0 = S / 2 - C * np.arcsinh(h / (2 * C * np.sinh(S / (2 * C))))
    return za + C * (np.cosh((t * S - x0) / C) - np.cosh(x0 / C))


def end_tension(S, za, zb, C, H):
    """Maximum tension of a span in every state [N]."""
    x0 = S / 2 - C * np.arcsinh((zb - za) / (2 * C * np.sinh(S / (2 * C))))
    return H * np.maximum(np.cosh(x0 / C), np.cosh((S - x0) / C))


def greatest_sag(S, za, zb, C):
    """Maximum drop below the chord: where the wire is parallel to it."""
    h = zb - za
    x0 = S / 2 - C * np.arcsinh(h / (2 * C * np.sinh(S / (2 * C))))
    x = x0 + C * np.arcsinh(h / S)
    return h * x / S - C * (np.cosh((x - x0) / C) - np.cosh(x0 / C))
