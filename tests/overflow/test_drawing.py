"""Many lines and ways at once are what each alone is."""

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from soakline.grid import FloatArray
from soakline.overflow.drawing import _meetings, _straightened, stations_every
from soakline.overflow.hydraulics import reach_velocities, way_maxima
from soakline.section.stations import starts_of
from soakline.terrain.flow import flow_over
from soakline.terrain.hollows import fill_hollows
from soakline.terrain.paths import path_down
from tests.terrain_analytic.ground import sample, v_valley

coordinate = st.floats(-500.0, 500.0).map(lambda value: round(value, 2))
line = st.lists(st.tuples(coordinate, coordinate), min_size=2, max_size=8)


def stations(lines: list[FloatArray], spacing_m: float) -> list[FloatArray]:
    found, first = stations_every(
        np.concatenate(lines), starts_of(np.array([len(own) for own in lines])), spacing_m
    )
    return np.split(found, first[1:-1])


@given(st.lists(line, min_size=1, max_size=4), st.sampled_from([1.0, 5.0, 30.0]))
def test_stations_stand_evenly_along_each_line(
    drawn: list[list[tuple[float, float]]], spacing_m: float
) -> None:
    lines = [np.array(own) for own in drawn]
    for own, found in zip(lines, stations(lines, spacing_m), strict=True):
        shape = shapely.linestrings(own)
        assert len(found) == max(2, round(shape.length / spacing_m) + 1)
        share = np.linspace(0.0, 1.0, len(found))
        expected = shapely.line_interpolate_point(shape, share, normalized=True)
        assert found == pytest.approx(shapely.get_coordinates(expected), abs=1e-6)


def test_each_of_many_ways_has_the_greatest_figures_that_it_has_alone() -> None:
    ground, grid = sample(v_valley(20.0, 8.0), width_m=101.0)
    rng = np.random.default_rng(4)
    count = np.array([2, 7, 3, 12, 2])
    first = starts_of(np.asarray(count))
    row = np.concatenate([np.sort(rng.uniform(20.0, 80.0, n)) for n in count])
    column = rng.uniform(20.0, 80.0, row.size)
    flow, width = rng.uniform(0.01, 1.0, row.size - count.size), rng.uniform(1.0, 30.0, count.size)
    steepest, fastest = way_maxima(first, row, column, ground, grid.cell_m, flow, width, 0.035)
    for i, own_flow in enumerate(np.split(flow, np.cumsum(count - 1)[:-1])):
        own = slice(first[i], first[i + 1])
        slope, velocity = reach_velocities(
            row[own], column[own], ground, grid.cell_m, own_flow, width[i], 0.035
        )
        assert steepest[i] == pytest.approx(slope.max(), rel=1e-12)
        assert fastest[i] == pytest.approx(velocity.max(), rel=1e-9)


@pytest.mark.parametrize("seed", range(6))
def test_ways_that_meet_are_drawn_as_one_from_there(seed: int) -> None:
    """Straightened whole, each by its own head, lines that run together would cross each other."""
    random = np.random.default_rng(seed)
    row, column = np.mgrid[0:60, 0:60]
    dem = 0.1 * row + 0.02 * np.abs(column - 30) + random.normal(0.0, 0.05, row.shape)
    filled = fill_hollows(dem.astype(np.float32))
    direction = flow_over(filled.filled_m, filled.valid, filled.domain).direction
    stop = np.zeros(dem.shape, dtype=bool)
    starts = 60 * random.integers(2, 50, 12) + random.integers(5, 55, 12)
    paths = [path_down(direction, int(start), stop) for start in starts]
    first = starts_of(np.array([path.size for path in paths]))
    points = np.column_stack(np.divmod(np.concatenate(paths), 60)).astype(float)
    fixed = _meetings(paths)
    ends = np.concatenate([first[:-1], first[1:] - 1])
    fixed[ends] = False
    lines = _straightened(points, first, fixed, 0.75, np.empty(0, dtype=object))
    assert len(lines) == len(paths)
    together = 0
    for i, (path, line) in enumerate(zip(paths, lines, strict=True)):
        whole = shapely.linestrings(points[first[i] : first[i + 1]])
        assert shapely.hausdorff_distance(line, whole) <= 0.75 + 1e-9
        assert shapely.get_num_coordinates(line) <= path.size
        for other, theirs in zip(paths[:i], lines[:i], strict=True):
            shared = np.isin(path, other)
            if shared.any():
                at = int(np.flatnonzero(shared)[0])
                meeting = points[first[i] + at]
                tails = [
                    own[np.flatnonzero((own == meeting).all(axis=1))[0] :]
                    for own in map(shapely.get_coordinates, (line, theirs))
                ]
                assert np.array_equal(*tails)
                together += len(tails[0]) > 2
    assert together > 0


def test_a_way_past_the_end_of_a_swale_is_not_straightened_across_it() -> None:
    """Past (2, 0.6), which the straight line from end to end leaves to its other side."""
    points = np.array([[0.0, 0.0], [1.0, 0.0], [2.0, 0.7], [3.0, 0.0], [4.0, 0.0]])
    args = points, np.array([0, 5]), np.zeros(5, dtype=bool), 0.75
    (free,) = _straightened(*args, np.empty(0, dtype=object))
    assert shapely.get_num_coordinates(free) == 2
    ends_before, far = (
        np.array([shapely.LineString([(2.0, -3.0), (2.0, top)])]) for top in (0.6, -0.1)
    )
    (line,) = _straightened(*args, ends_before)
    assert np.array_equal(shapely.get_coordinates(line), points)
    assert shapely.equals(_straightened(*args, far)[0], free)
