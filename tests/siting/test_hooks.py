"""Ends of lips cut back before hooks: what is left is a part of the line, and long enough."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from soakline.grid import FloatArray
from soakline.siting.bends import tight_vertices
from soakline.siting.hooks import without_hooks
from soakline.siting.lines import LipLine

RADIUS_M = 6.0


def lip(points: FloatArray) -> LipLine:
    return LipLine(400.0, 6.0, points, closed=False)


def walked(chords_m: list[float], turns: list[float]) -> FloatArray:
    """Vertices of a line from its chords and the angles that it turns by, radians."""
    heading = np.cumsum(turns)
    steps = np.column_stack([np.cos(heading), np.sin(heading)]) * np.array(chords_m)[:, None]
    return np.vstack([[0.0, 0.0], np.cumsum(steps, axis=0)])


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.2, 10.0), st.floats(-1.0, 1.0)), min_size=3, max_size=30),
    st.floats(0.0, 60.0),
)
def test_what_is_left_is_a_part(steps: list[tuple[float, float]], min_length_m: float) -> None:
    """Ground and footprint under what is left are those that were checked before."""
    line = lip(walked([chord for chord, _ in steps], [turn for _, turn in steps]))
    kept = without_hooks(line, RADIUS_M, min_length_m)
    size = len(kept.coordinates)
    begins = [
        i
        for i in range(len(line.coordinates) - size + 1)
        if np.array_equal(line.coordinates[i : i + size], kept.coordinates)
    ]
    assert begins
    assert kept.length_m >= min(line.length_m, min_length_m) - 1e-9
    assert kept.length_m >= line.length_m - 2.0 * RADIUS_M - 1e-9
    was, now = (tight_vertices(one.coordinates, RADIUS_M)[1].sum() for one in (line, kept))
    assert line.length_m - kept.length_m <= was - now + 1e-9


def hooked() -> FloatArray:
    """40 m straight between 0.5 m at a right angle and 1 m at a right angle."""
    turn = np.pi / 2
    return walked([0.5, 20.0, 20.0, 1.0], [-turn, turn, 0.0, turn])


def test_hooks_are_cut_off() -> None:
    kept = without_hooks(lip(hooked()), RADIUS_M, 15.0)
    assert kept.length_m == pytest.approx(40.0)


def test_lines_stay_that_may_not_be_cut() -> None:
    line = lip(hooked())
    for same in (replace(line, state="fixed"), replace(line, closed=True)):
        assert without_hooks(same, RADIUS_M, 15.0) is same
    assert without_hooks(line, 0.0, 15.0) is line
    assert without_hooks(line, RADIUS_M, 41.4).length_m == pytest.approx(41.5)
