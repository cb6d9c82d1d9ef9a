"""Tight bends laid anew: no tighter than any chain beside the line, on ground inside the band."""

from itertools import combinations, pairwise, product

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from soakline.grid import FloatArray, Grid, GroundArray
from soakline.siting.band import height_band
from soakline.siting.bends import tight_bends, tight_vertices
from soakline.siting.chords import chord_cost
from soakline.siting.easing import _ASKED_M, _bend_cost, _cheapest_chain, eased
from soakline.siting.lines import evenly
from soakline.terrain.ground import sample as ground_at
from tests.terrain_analytic.ground import (
    CENTRE_EASTING_M,
    CENTRE_HEIGHT_M,
    CENTRE_NORTHING_M,
    plane,
    sample,
)

RADIUS_M = 6.0
LEVEL_M = CENTRE_HEIGHT_M
BAND = height_band(0.15)


@pytest.fixture(scope="module")
def slope() -> tuple[GroundArray, Grid]:
    """A plane of 6 %, on which the band is 2.7 m wide."""
    return sample(plane(6.0), width_m=120.0)


def line_of(north_m: list[float], step_m: float) -> FloatArray:
    """Vertices from west to east by how far each lies uphill of the level line."""
    east = (np.arange(len(north_m)) - 0.5 * (len(north_m) - 1)) * step_m
    return np.column_stack([CENTRE_EASTING_M + east, CENTRE_NORTHING_M + np.array(north_m)])


def everywhere(east: FloatArray, _: FloatArray) -> npt.NDArray[np.int8]:
    """All places are as fit as any."""
    return np.zeros(east.shape, dtype=np.int8)


def ease(line: FloatArray, slope: tuple[GroundArray, Grid], closed: bool = False) -> FloatArray:
    ground, grid = slope
    return eased(line, LEVEL_M, closed, ground, grid, BAND, RADIUS_M, everywhere, 0.0)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.floats(-0.3, 2.0), min_size=10, max_size=30), st.floats(1.0, 3.0))
def test_a_zigzag_on_a_plane_is_straightened(
    slope: tuple[GroundArray, Grid], north_m: list[float], step_m: float
) -> None:
    """Its vertices lie inside the band anyhow; its ends stay where they are."""
    line = line_of(north_m, step_m)
    kept = ease(line, slope)
    assert np.array_equal(kept[[0, -1]], line[[0, -1]])
    before, after = (tight_bends(one, RADIUS_M) for one in (line, kept))
    assert after.length_m <= before.length_m
    ground, grid = slope
    above = ground_at(ground, grid, *evenly(kept, 0.1).T) - LEVEL_M
    assert above.min() >= BAND.lowest_m - 1e-4
    assert above.max() <= BAND.highest_m + 1e-4
    # The line may have to swing away from an end that is given; farther in nothing holds it.
    inner, _ = tight_vertices(kept, RADIUS_M)
    along = np.cumsum(np.hypot(*np.diff(kept, axis=0).T))
    assert not inner[(along[:-1] > RADIUS_M) & (along[:-1] < along[-1] - RADIUS_M)].any()


def test_lines_stay_that_need_nothing_or_cannot_be_eased(slope: tuple[GroundArray, Grid]) -> None:
    straight = line_of([0.3] * 5, 8.0)
    assert ease(straight, slope) is straight
    corner = straight[[0, 1, 1, 2]] + np.array([[0, 0], [0, 0], [0.0, 20.0], [0, 20.0]])
    assert ease(corner, slope) is corner
    ground, grid = slope
    zigzag = line_of([0.0, 2.0] * 5, 2.0)
    assert eased(zigzag, LEVEL_M, False, ground, grid, BAND, 0.0, everywhere, 0.0) is zigzag


def test_no_place_is_taken_that_is_worse_and_no_line_gets_too_short(
    slope: tuple[GroundArray, Grid],
) -> None:
    """A zigzag, with ground below it that no lip may stand on where it would go through."""
    ground, grid = slope
    line = line_of([0.2, 1.8] * 8, 2.0)

    def unfit(east: FloatArray, north: FloatArray) -> npt.NDArray[np.int8]:
        return ((east > CENTRE_EASTING_M) & (north < CENTRE_NORTHING_M + 1.0)).astype(np.int8)

    free = ease(line, slope)
    kept = eased(line, LEVEL_M, False, ground, grid, BAND, RADIUS_M, unfit, 0.0)
    before, after = (tight_bends(one, RADIUS_M).length_m for one in (line, kept))
    assert after < before

    def beside(lip: FloatArray) -> FloatArray:
        new = lip[1:-1]
        own = np.column_stack([new[:, 0], np.interp(new[:, 0], *line.T)])
        return new[(unfit(*new.T) > unfit(*own.T)) & (np.abs(new - own)[:, 1] > 0.3)]

    assert len(beside(free)) > 0
    assert len(beside(kept)) == 0
    long = float(np.hypot(*np.diff(line, axis=0).T).sum())
    assert eased(line, LEVEL_M, False, ground, grid, BAND, RADIUS_M, everywhere, long) is line


def test_a_ring_stays_closed_where_it_began() -> None:
    """A knoll of 8 %: its ring of 20 m radius is dented at one vertex, far from its start."""

    def knoll(easting: FloatArray, northing: FloatArray) -> FloatArray:
        away = np.hypot(easting - CENTRE_EASTING_M, northing - CENTRE_NORTHING_M)
        return LEVEL_M + 0.04 - 0.08 * (away - 20.0)

    ground = sample(knoll, width_m=120.0)
    turn = np.linspace(0.0, -2.0 * np.pi, 61)
    away = np.where(np.arange(61) == 30, 19.2, 20.0)
    ring = np.column_stack(
        [CENTRE_EASTING_M + away * np.cos(turn), CENTRE_NORTHING_M + away * np.sin(turn)]
    )
    ring[-1] = ring[0]
    assert tight_bends(ring, RADIUS_M).count > 0
    kept = ease(ring, ground, closed=True)
    assert tight_bends(kept, RADIUS_M).count == 0
    assert np.array_equal(kept[[0, -1]], ring[[0, 0]])
    assert np.array_equal(kept[1], ring[1])


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000))
def test_no_chain_over_the_rows_costs_less(slope: tuple[GroundArray, Grid], seed: int) -> None:
    """Against every chain of chords over six rows of three points, one by one."""
    ground, grid = slope
    chance = np.random.default_rng(seed)
    rows, places = 6, 3
    east = CENTRE_EASTING_M + 2.0 * np.arange(rows)[:, None] + chance.uniform(-0.4, 0.4, (rows, 1))
    north = CENTRE_NORTHING_M + chance.uniform(-0.4, 2.4, (rows, places))
    row, column = grid.row_column(np.broadcast_to(east, north.shape), north)
    usable = chance.random((rows, places)) < 0.8
    usable[0] = [True, False, False]
    back = np.minimum(np.arange(rows), 3)
    found = _cheapest_chain(
        row, np.ascontiguousarray(column), usable, back, ground, LEVEL_M, 1.0, BAND.lowest_m,
        BAND.highest_m, RADIUS_M,
    )  # fmt: skip

    def cost(chain: list[tuple[int, int]]) -> float:
        total, before = 0.0, None
        for one, other in pairwise(chain):
            down, right = row[other] - row[one], column[other] - column[one]
            length = np.hypot(down, right)
            total += chord_cost(
                row[one], column[one], row[other], column[other], ground, LEVEL_M,
                int(np.ceil(length / _ASKED_M)), length, BAND.lowest_m, BAND.highest_m, np.inf,
                False,
            )  # fmt: skip
            chord = np.array([length, down / length, right / length])
            total += 0.0 if before is None else _bend_cost(before, chord, RADIUS_M)
            before = chord
        return total

    best = np.inf
    for count in range(rows - 1):
        for inner in combinations(range(1, rows - 1), count):
            kept = (0, *inner, rows - 1)
            if max(np.diff(kept)) <= 3:
                for at in product(range(places), repeat=len(kept)):
                    chain = list(zip(kept, at, strict=True))
                    if all(usable[point] for point in chain):
                        best = min(best, cost(chain))
    assert (cost([(j, to) for j, to in found.tolist()]) if len(found) else np.inf) == best
