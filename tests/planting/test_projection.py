"""Pairs of neighbouring swales and the sight lines between them, on ladders of lips."""

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from soakline.planting.projection import Projection, neighbours
from soakline.terrain.cells import GeometryArray


def ladder(steps: int, spacing_m: float) -> GeometryArray:
    """Level lips one above the other, northwards."""
    rows = [
        shapely.LineString([(0.0, k * spacing_m), (200.0, k * spacing_m)]) for k in range(steps)
    ]
    return np.array(rows, dtype=object)


def pairs_of(lips: GeometryArray, level_m: list[float], *drains: shapely.LineString) -> Projection:
    count = len(lips)
    return neighbours(
        lips,
        np.array(level_m),
        np.full(count, 8.0),
        np.full(count, 8.0),
        np.array(drains, dtype=object),
    )


@given(steps=st.integers(2, 7), slope=st.floats(4.0, 14.0))
def test_each_rung_is_paired_with_the_next_one_above(steps: int, slope: float) -> None:
    lips = ladder(steps, 100.0)
    found = neighbours(
        lips,
        slope * np.arange(steps),
        np.full(steps, slope),
        np.full(steps, slope),
        np.zeros(0, dtype=object),
    )
    assert found.below.tolist() == list(range(steps - 1))
    assert found.above.tolist() == list(range(1, steps))
    assert found.distance_m == pytest.approx(100.0)
    assert found.drop_m == pytest.approx(slope)
    # Sight lines are drawn from the lower lip to the upper one.
    assert found.start[:, 1] == pytest.approx(100.0 * found.below)
    assert found.end[:, 1] == pytest.approx(100.0 * found.above)


def test_a_lip_between_hides_what_lies_beyond_it() -> None:
    """Lips 4 m apart in level: that 8 m above would fit too, but for the one between."""
    found = pairs_of(ladder(3, 50.0), [0.0, 4.0, 8.0])
    assert list(zip(found.below.tolist(), found.above.tolist(), strict=True)) == [(0, 1), (1, 2)]


def test_no_pair_is_seen_across_flowing_water_or_too_far_or_too_high() -> None:
    stream = shapely.LineString([(-10.0, 50.0), (210.0, 50.0)])
    assert pairs_of(ladder(2, 100.0), [0.0, 8.0], stream).below.size == 0
    # 1.5 H / tan(slope) is 150 m, 1.5 H is 12 m, 0.25 H is 2 m.
    assert pairs_of(ladder(2, 149.0), [0.0, 8.0]).below.size == 1
    assert pairs_of(ladder(2, 151.0), [0.0, 8.0]).below.size == 0
    assert pairs_of(ladder(2, 100.0), [0.0, 12.1]).below.size == 0
    assert pairs_of(ladder(2, 100.0), [0.0, 1.9]).below.size == 0
