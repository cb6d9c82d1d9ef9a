"""Trees along rows: apart by their crowns, staggered, and none left out that would find room."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree

from soakline.grid import FloatArray
from soakline.planting.first_fit import Mixtures, first_fit

WIDTHS = st.lists(st.floats(0.5, 15.0), min_size=1, max_size=4)


def one_row(mixture: list[int]) -> Mixtures:
    return Mixtures(np.array([0, len(mixture)]), np.array(mixture))


def slack_m(place: FloatArray, crown_m: FloatArray) -> FloatArray:
    """Of every near pair, distance less half the sum of the crowns."""
    pairs = cKDTree(place).query_pairs(float(crown_m.max()), output_type="ndarray")
    apart = np.hypot(*(place[pairs[:, 0]] - place[pairs[:, 1]]).T)
    return np.asarray(apart - crown_m[pairs].sum(axis=1) / 2.0)


@settings(max_examples=60, deadline=None)
@given(crown=WIDTHS, seed=st.integers(0, 2**32 - 1), side_m=st.floats(1.0, 120.0))
def test_no_two_trees_stand_nearer_than_their_crowns_allow(
    crown: list[float], seed: int, side_m: float
) -> None:
    east, north = np.random.default_rng(seed).uniform(0.0, side_m, (2, 600))
    crowns = np.array(crown)
    row = np.zeros(600, dtype=np.int64)
    planted = first_fit(east, north, row, one_row(list(range(crowns.size))), crowns)
    kept = planted >= 0
    assert kept.any()
    place, own = np.column_stack([east, north]), crowns[planted]
    assert slack_m(place[kept], own[kept]).min(initial=0.0) >= -1e-9
    if crowns.size == 1:
        # With one species a place is left empty only where a tree stands too near.
        near = cKDTree(place[kept]).query(place)[0]
        assert near.max() < crowns[0]


def test_on_one_row_trees_stand_a_crown_apart_and_species_take_turns() -> None:
    east = np.arange(0.0, 100.0, 0.5)
    planted = first_fit(east, 0.0 * east, np.zeros(200, int), one_row([0, 1]), np.array([6.0, 4.0]))
    kept = planted >= 0
    assert east[kept].tolist() == np.arange(0.0, 100.0, 5.0).tolist()
    assert planted[kept].tolist() == [0, 1] * 10


def test_two_rows_nearer_than_a_crown_come_to_stand_staggered() -> None:
    """Rows 3 m apart, crowns of 5 m: 4 m on along them, sqrt(5² − 3²), from row to row."""
    along = np.repeat(np.arange(0.0, 40.0, 0.5), 2)
    row = np.tile([0, 1], along.size // 2)
    both = Mixtures(np.array([0, 1, 2]), np.array([0, 0]))
    kept = first_fit(along, 3.0 * row, row, both, np.array([5.0])) >= 0
    assert along[kept].tolist() == np.arange(0.0, 40.0, 4.0).tolist()
    assert row[kept].tolist() == [0, 1] * 5
