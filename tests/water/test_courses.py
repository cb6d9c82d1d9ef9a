"""Courses of storms by few moments: straight lines between them stay close to the curves."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakline.water.courses import moments

CURVES = st.integers(2, 60).flatmap(
    lambda steps: st.lists(
        st.lists(st.floats(0.0, 10.0, width=32), min_size=steps, max_size=steps),
        min_size=1,
        max_size=3,
    )
)


@given(CURVES)
def test_straight_lines_between_moments_stay_close(values: list[list[float]]) -> None:
    curves = np.array(values, dtype=float)
    kept = moments(curves, 0.02, 1000)
    steps = np.arange(curves.shape[1])
    assert kept[0] == 0
    assert kept[-1] == steps[-1]
    assert (np.diff(kept) > 0).all()
    for curve in curves:
        told = np.interp(steps, kept, curve[kept])
        assert np.abs(told - curve).max() <= 0.02 * curve.max(initial=0.0) + 1e-9


def test_no_more_moments_than_asked_for_and_the_peak_among_them() -> None:
    steps = np.arange(400.0)
    curve = np.exp(-(((steps - 150.0) / 20.0) ** 2))[None, :]
    kept = moments(curve, 0.0, 12)
    assert kept.size == 12
    assert np.abs(kept - 150).min() <= 1


@pytest.mark.parametrize("steps", [2, 3])
def test_the_shortest_courses_keep_their_ends(steps: int) -> None:
    assert moments(np.zeros((1, steps)), 0.01, 60).tolist() == [0, steps - 1]
