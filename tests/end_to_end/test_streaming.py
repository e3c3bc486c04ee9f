"""The ground is asked batch by batch as the check goes along; asked all at once before, it answers the same."""

import numpy as np

import corridor.check
from corridor.inputs.study_inputs import read_inputs
from corridor.opened import prepare
from corridor.study import load_study


def layers(study, *, surveyed):
    """Layers of the findings of a study as columns, and how many blocks of raster were read."""
    inputs = read_inputs(load_study(study.path))
    with inputs.terrain:
        facts, plan, ground = prepare(inputs, surveyed=surveyed)
        assert plan.surveyed == surveyed
        found = {}
        for layer, columns in corridor.check.find(facts, plan, ground):
            for name, values in columns.items():
                found.setdefault((layer, name), []).append(values)
        blocks = inputs.terrain.blocks_read
    return {key: np.concatenate(parts) for key, parts in found.items()}, blocks


def test_the_same_findings_either_way(study, monkeypatch):
    study.add_roads()
    study.write()
    monkeypatch.setattr(corridor.check, "BATCH", 1)
    before, _ = layers(study, surveyed=True)
    along, _ = layers(study, surveyed=False)
    assert before.keys() == along.keys()
    assert along["structures", "station_m"][-1] > 800
    for key, values in before.items():
        if key[1] != "geometry":
            np.testing.assert_array_equal(along[key], values, err_msg=str(key))


def test_every_block_is_read_once(study, make, monkeypatch):
    """A line of many short sections over many blocks, of which few fit in memory at a time."""
    study.structures = make.line_of(count=15, span=90.0)
    study.structures["role"], study.structures["framing"] = "strain", "hold"
    study.write_ground(tile=64, cell=1.0)
    study.write()
    monkeypatch.setattr(corridor.check, "BATCH", 1)
    _, all_at_once = layers(study, surveyed=False)
    monkeypatch.setattr("corridor.inputs.terrain.open_terrain.__kwdefaults__", {"budget": 400_000})
    _, along = layers(study, surveyed=False)
    _, twice = layers(study, surveyed=True)
    assert all_at_once > 12
    assert along == all_at_once < twice
