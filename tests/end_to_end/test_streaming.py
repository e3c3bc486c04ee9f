"""The ground is asked batch by batch as the check goes along; asked all at once before, it answers the same."""

import sqlite3
from contextlib import closing

import numpy as np
import shapely

import corridor.check
from corridor.clearance.crossings import ObstacleIndex
from corridor.inputs.study_inputs import read_inputs
from corridor.opened import prepare
from corridor.outputs.geopackage import layer_digests
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


def test_batches_ask_the_obstacles_near_them_alone(study, make, monkeypatch):
    """Of roads, crowns, parcels and a thing without a place along 6 km: the findings are those of asking all, and each
    batch has few of them."""
    study.structures = make.line_of(21)
    study.write_ground(high=(make.EAST + 6400, make.NORTH + 400))
    east = make.EAST + 300 * np.arange(20)
    study.add_roads()
    study.add_obstacle("trees", "tree", [*shapely.points(east + 90, make.NORTH + 3), None],
                       "height = 9", number=range(21))
    study.add_obstacle("land", "parcel", shapely.box(east, make.NORTH - 40, east + 290, make.NORTH + 40))
    study.text += make.SECOND_OPTION
    study.write()
    monkeypatch.setattr(corridor.check, "BATCH", 1)
    counts, near = [], ObstacleIndex.near

    def noted(index, low, high):
        found = near(index, low, high)
        counts.append(len(found.obstacles))
        return found

    monkeypatch.setattr(ObstacleIndex, "near", noted)
    study.check()
    some = layer_digests_of(study.output)
    assert max(counts) < 35 and len(counts) > 4
    monkeypatch.setattr(ObstacleIndex, "near", lambda index, low, high: index)
    study.check()
    assert layer_digests_of(study.output) == some


def layer_digests_of(path):
    with closing(sqlite3.connect(path)) as database:
        digests = layer_digests(database)
    return {name: digest for name, digest in digests.items() if name not in ("run", "inputs")}  # files are written anew
