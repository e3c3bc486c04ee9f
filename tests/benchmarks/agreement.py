"""Do two files of findings say the same?

    python -m tests.benchmarks.agreement FINDINGS OTHER

prints the comparison as JSON.
"""

import json
import sys

import numpy as np
import pyogrio

#: Greatest difference that counts as agreement [m].
TOLERANCE = 0.01

#: Layer: its key columns, and the columns [m] that must agree.
COMPARED = {
    "wires": (("line", "span", "wire", "option", "case"), ("sag_m",)),
    "clearances": (
        ("line", "span", "option", "case", "against", "obstacle", "measure"),
        ("required_m", "actual_m"),
    ),
}


def _read(path, layer):
    keys, values = COMPARED[layer]
    # The plain script knows vertical clearances alone.
    where = "measure = 'vertical'" if "measure" in keys else None
    table = pyogrio.read_dataframe(path, layer=layer, columns=[*keys, *values], where=where, read_geometry=False)
    table[list(keys)] = table[list(keys)].fillna("")
    return table.set_index(list(keys))


def compare(findings, other):
    """Compare two GeoPackages of findings, row by row.

    Returns
    -------
    dict
        Per layer: `rows` in both, `missing` and `extra` rows of the first, `repeated` keys in
        either, and the greatest difference of each column [m], nan where a value is missing.
    """
    report = {}
    for layer, (_, values) in COMPARED.items():
        a, b = _read(findings, layer), _read(other, layer)
        shared = a.index.intersection(b.index)
        entry = {
            "rows": len(shared),
            "missing": len(b.index.difference(a.index)),
            "extra": len(a.index.difference(b.index)),
            "repeated": int(a.index.duplicated().sum() + b.index.duplicated().sum()),
        }
        if not entry["repeated"]:
            entry |= {
                column: _greatest(a.loc[shared, column], b.loc[shared, column]) for column in values
            }
        report[layer] = entry
    return report


def _greatest(a, b):
    """Greatest difference [m]; nan where nothing or not everything could be compared."""
    difference = np.abs(a.to_numpy(float) - b.to_numpy(float))
    return float(difference.max()) if len(difference) else np.nan


def agree(report):
    """Return whether every row has its counterpart and none differs by more than `TOLERANCE`."""
    return all(
        entry["rows"] > 0
        and not entry["missing"]
        and not entry["extra"]
        and not entry["repeated"]
        and all(entry[column] <= TOLERANCE for column in COMPARED[layer][1])
        for layer, entry in report.items()
    )


if __name__ == "__main__":
    found = compare(*sys.argv[1:])
    print(json.dumps({"agree": agree(found), "layers": found}))
