"""The worst rows of compared wires, against plain loops."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from corridor.arrays import join, matches
from corridor.clearance.checked import GROUND, keys_of, least_rows, worst_of
from corridor.clearance.right_of_way import RIGHT_OF_WAY

VALUES = st.one_of(st.just(np.nan), st.sampled_from([-1.0, 0.0, 0.5, 2.0]))


def worst(key, column):
    """Row of the minimum known value of each key, the first of equals, -1 where none is known: row by row."""
    found = {}
    for row, (k, value) in enumerate(zip(key, column, strict=True)):
        best = found.setdefault(k, -1)
        if not np.isnan(value) and (best < 0 or value < column[best]):
            found[k] = row
    return [found[k] for k in sorted(found)]


@settings(max_examples=60, deadline=None)
@given(st.data(), st.integers(0, 12), st.integers(1, 3))
def test_worst_rows_of_keys_and_states(data, rows, states):
    key = data.draw(arrays(int, rows, elements=st.integers(0, 3)))
    value = data.draw(arrays(float, (rows, states), elements=VALUES))
    got = worst_of(key, value)
    expected = [worst(key, column) for column in value.T]
    assert got.T.tolist() == expected
    assert least_rows(key, value[:, 0]).tolist() == [row for row in expected[0] if row >= 0]


def test_keys_tell_ground_and_right_of_way_apart():
    """Indices below 0 stand for these; rows are one where all columns are, and keys are in the order of the rows."""
    columns = np.array([[0, 0, 0, 0, 1, 1], [GROUND, RIGHT_OF_WAY, 0, GROUND, RIGHT_OF_WAY, 7]])
    key = keys_of(*columns)
    pairs = list(zip(*columns.tolist(), strict=True))
    assert [pairs[i] for i in np.argsort(key, kind="stable")] == sorted(pairs)
    assert len(set(key.tolist())) == len(set(pairs)) == 5
    assert keys_of(np.zeros(0, int), np.zeros(0, int)).tolist() == []


@settings(max_examples=60, deadline=None)
@given(*[arrays(int, st.integers(0, 6), elements=st.integers(0, 3))] * 2)
def test_pairs_of_equal_numbers(wanted, key):
    pairs = [(i, j) for i in range(len(wanted)) for j in range(len(key)) if wanted[i] == key[j]]
    assert list(zip(*(each.tolist() for each in matches(wanted, key)), strict=True)) == pairs


@pytest.mark.parametrize("lacking", [{"a": np.zeros(1)}, {"a": np.zeros(1), "c": np.zeros(1)}])
def test_tables_of_other_columns_are_not_joined(lacking):
    """What a table lacks is an error, not a shorter column beside longer ones."""
    with pytest.raises(KeyError):
        join([{"a": np.zeros(2), "b": np.ones(2)}, lacking])
