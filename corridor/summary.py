"""What a run comes to, option by option, counted while the findings pass by."""

import numpy as np

__all__ = ["CAUTIONS", "Tally"]

CAUTIONS = (
    "A screening and study aid. Local codes and their adopted edition govern.",
    "Built-in rule tables are recalled or read facts: a licensed engineer verifies them against the edition and signs.",
    "Approach distances, outages and switching are the business of the system operator and the safety rules.",
    "Permanent elongation and the compression of slack aluminium are estimates for wires without measured curves: "
    "look at margin_low_m and margin_high_m.",
)


class Tally:
    """Counts and worst values of every option, from the layers of the findings as they are made.

    Parameters
    ----------
    facts : Facts
    """

    def __init__(self, facts):
        self.facts = facts
        self.names = [option.name for option in facts.options]
        self.count = {layer: dict.fromkeys(self.names, 0) for layer in ("clearances", "violations", "not_assessed")}
        self.gaps = 0
        self.worst = {}
        self.sag = dict.fromkeys(self.names, np.nan)
        self.share = dict.fromkeys(self.names, np.nan)
        self.overloaded = {}
        self.lifted = {}
        self._tension = [case.name for case in facts.cases if "tension" in case.checks]

    @property
    def violations(self):
        """Number of violations of all options."""
        return sum(self.count["violations"].values())

    @property
    def warnings(self):
        """What the person should look at."""
        return [f"{option}: {case}: wires are loaded up to {share:.0f} % of their rated strength"
                for (option, case), share in self.overloaded.items()] + [
            f"{option}: {case}: wires lift their strings at {', '.join(sorted(at))}"
            for (option, case), at in self.lifted.items()]

    def add(self, layer, columns):
        """Take note of a batch of rows."""
        if layer in self.count:
            self._count(layer, columns["option"])
        take = {"clearances": self._margins, "wires": self._sags, "sections": self._shares,
                "structure_loads": self._lifts}.get(layer)
        if take:
            take(columns)

    def _count(self, layer, option):
        for name in self.names:
            # What is not assessed for no option in particular is not assessed for any.
            self.count[layer][name] += int(np.sum((option == name) | (option == None)))  # noqa: E711
        self.gaps += len(option) if layer == "not_assessed" else 0

    def _margins(self, columns):
        for name in self.names:
            rows = np.flatnonzero(columns["option"] == name)
            if len(rows):
                row = rows[columns["margin_m"][rows].argmin()]
                if columns["margin_m"][row] < self.worst.get(name, {"margin_m": np.inf})["margin_m"]:
                    self.worst[name] = {key: columns[key][row]
                                        for key in ("margin_m", "line", "span", "case", "against", "obstacle")}

    def _sags(self, columns):
        for name in self.names:
            sag = columns["sag_m"][(columns["option"] == name) & (columns["kind"] == "phase")]
            self.sag[name] = np.fmax(self.sag[name], sag.max(initial=-np.inf)) if len(sag) else self.sag[name]

    def _shares(self, columns):
        phase = columns["wire_kind"] == "phase"
        for name in self.names:
            share = columns["percent_rts"][(columns["option"] == name) & phase]
            if np.isfinite(share).any():
                self.share[name] = np.fmax(self.share[name], np.nanmax(share))
        for row in np.flatnonzero((columns["percent_rts"] > 100) & np.isin(columns["case"], self._tension)):
            key = columns["option"][row], columns["case"][row]
            self.overloaded[key] = max(self.overloaded.get(key, 0.0), columns["percent_rts"][row])

    def _lifts(self, columns):
        for row in np.flatnonzero(columns["lifted"].astype(bool)):
            key = columns["option"][row], columns["case"][row]
            self.lifted.setdefault(key, set()).add(str(columns["structure"][row]))

    def option_rows(self):
        """Return the rows of the layer `options`, as columns."""
        options = self.facts.options
        conductors = [option.wiring.conductor for option in options]

        def worst(key, missing):
            return [self.worst.get(name, {}).get(key, missing) for name in self.names]

        columns = {
            "option": self.names, "conductor": [c.name for c in conductors],
            "existing": [option.existing for option in options],
            "bundle": [option.wiring.bundle for option in options],
            "diameter_m": [c.diameter for c in conductors], "mass_kg_per_m": [c.mass for c in conductors],
            "rated_strength_n": [c.rts for c in conductors],
            "maximum_temperature_c": [option.wiring.maximum_temperature for option in options],
            "emergency_temperature_c": [_number(option.wiring.emergency_temperature) for option in options],
            **{layer: [self.count[layer][name] for name in self.names] for layer in self.count},
            "worst_margin_m": worst("margin_m", np.nan), "worst_line": worst("line", None),
            "worst_span": worst("span", None), "worst_case": worst("case", None),
            "worst_against": worst("against", None),
            "greatest_sag_m": [self.sag[name] for name in self.names],
            "greatest_percent_rts": [self.share[name] for name in self.names],
            **self.facts.heat.option_columns(),
        }
        return {key: np.array(values, object if isinstance(values[0], str | None) else None)
                for key, values in columns.items()}


def _number(value):
    return np.nan if value is None else value
