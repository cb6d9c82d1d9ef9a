"""Lines faired to a radius: bends kept where the ground allows it, the tolerance always."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from soakline.grid import FloatArray, Grid, GroundArray
from soakline.siting.band import AIM_M
from soakline.siting.bends import tight_bends
from soakline.siting.bounded import bounded_least_squares
from soakline.siting.contours import level_lines
from soakline.siting.lines import evenly
from soakline.siting.lip import ease_lips, lay_lips
from soakline.terrain.ground import mean_ground
from soakline.terrain.ground import sample as ground_at
from tests.real_ground.ground import hillside
from tests.terrain_analytic.ground import Height, plane, sample, spur

RADIUS_M = 6.0
TOLERANCE_M = 0.15


def lips_on(
    ground: GroundArray, grid: Grid, levels_m: FloatArray, radius_m: float
) -> tuple[list[FloatArray], FloatArray]:
    """Lips of all level lines 25 m long and more, 12 cells from the edge; and their levels."""
    inner = np.zeros(grid.shape, dtype=bool)
    inner[12:-12, 12:-12] = True
    west, south, east, north = grid.bounds
    window = shapely.box(west + 12, south + 12, east - 12, north - 12)
    runs, level_m = [], []
    for level, lines in zip(
        levels_m, level_lines(ground, grid, levels_m + AIM_M, inner), strict=True
    ):
        for line in lines:
            clipped = shapely.intersection(shapely.linestrings(line), window)
            for part in shapely.get_parts(shapely.line_merge(clipped)):
                if part.length >= 25.0:
                    runs.append(evenly(shapely.get_coordinates(part), 1.0))
                    level_m.append(level)
    level = np.array(level_m, dtype=float)
    closed = np.array([np.array_equal(run[0], run[-1]) for run in runs], dtype=bool)
    lips = lay_lips(runs, level, closed, ground, grid, TOLERANCE_M, radius_m)
    eased = ease_lips(
        lips, level, closed, ground, grid, TOLERANCE_M, radius_m,
        lambda east, _: np.zeros(east.shape, dtype=np.int8), 0.0,
    )  # fmt: skip
    return eased, level


def above_m(
    lips: list[FloatArray], level_m: FloatArray, ground: GroundArray, grid: Grid
) -> FloatArray:
    """Ground over the level at every quarter metre."""
    return np.concatenate(
        [
            ground_at(ground, grid, *evenly(lip, 0.25).T) - level
            for lip, level in zip(lips, level_m, strict=True)
        ]
    )


def share_kept(lips: list[FloatArray]) -> float:
    """Share of the length where turn over half the two chords' length is no tighter."""
    length = tight = 0.0
    for lip in lips:
        chord = np.diff(lip, axis=0)
        size = np.hypot(*chord.T)
        heading = np.unwrap(np.arctan2(chord[:, 1], chord[:, 0]))
        half = 0.5 * (size[:-1] + size[1:])
        length += size.sum()
        tight += half[half < 0.99 * RADIUS_M * np.abs(np.diff(heading))].sum()
    return 1.0 - tight / length


def smoothed(height: Height, noise_m: float, seed: int) -> tuple[GroundArray, Grid]:
    dem, grid = sample(height, width_m=160.0, noise_m=noise_m, seed=seed)
    return mean_ground(dem, grid, 5.0), grid


@settings(max_examples=8, deadline=None)
@given(slope_pct=st.floats(2.0, 15.0), seed=st.integers(0, 1000))
def test_on_a_noisy_plane_every_bend_is_kept(slope_pct: float, seed: int) -> None:
    ground, grid = smoothed(plane(slope_pct), 0.05, seed)
    lips, level = lips_on(ground, grid, np.array([400.0]), RADIUS_M)
    above = above_m(lips, level, ground, grid)
    assert above.min() >= -0.03
    assert above.max() <= TOLERANCE_M
    assert all(tight_bends(lip, RADIUS_M).count == 0 for lip in lips)


@settings(max_examples=8, deadline=None)
@given(rounding_m=st.floats(1.0, 10.0), side_pct=st.floats(5.0, 14.0))
def test_on_the_nose_of_a_spur_tolerance_wins(rounding_m: float, side_pct: float) -> None:
    ground, grid = smoothed(spur(side_pct, 3.0, rounding_m), 0.0, 1)
    lips, level = lips_on(ground, grid, np.array([400.0, 399.0]), RADIUS_M)
    above = above_m(lips, level, ground, grid)
    assert above.min() >= -0.03
    assert above.max() <= TOLERANCE_M


@pytest.fixture(scope="module")
def real() -> tuple[GroundArray, Grid]:
    dem, grid = hillside()
    return mean_ground(dem, grid, 5.0), grid


def test_real_ground_bends_less_and_holds_the_tolerance(real: tuple[GroundArray, Grid]) -> None:
    ground, grid = real
    levels = np.arange(383.0, 410.0, 4.0)
    faired, level = lips_on(ground, grid, levels, RADIUS_M)
    above = above_m(faired, level, ground, grid)
    assert above.min() >= -0.03
    assert above.max() <= TOLERANCE_M
    assert share_kept(faired) >= 0.99
    unfaired, _ = lips_on(ground, grid, levels, 0.0)
    tight = [
        sum(tight_bends(lip, RADIUS_M).length_m for lip in lips) for lips in (faired, unfaired)
    ]
    assert tight[0] < 0.25 * tight[1]


@pytest.mark.parametrize("cells", [2, 4])
def test_folds_between_large_cells_keep_inside_the_tolerance(cells: int) -> None:
    """The hillside on cells of 2 m and 4 m, whose mean ground is of few cells or of one."""
    dem, fine = hillside()
    side = fine.rows // cells
    mean = dem.reshape(side, cells, side, cells).mean(axis=(1, 3)).astype(np.float32)
    grid = Grid(side, side, fine.west_m, fine.north_m, cells * fine.cell_m, fine.crs_wkt)
    ground = mean_ground(mean, grid, 5.0)
    lips, level = lips_on(ground, grid, np.arange(383.0, 410.0, 4.0), RADIUS_M)
    above = above_m(lips, level, ground, grid)
    assert above.min() >= -0.03
    assert above.max() <= TOLERANCE_M
    assert share_kept(lips) >= 0.98


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000))
def test_bounded_least_squares_is_scipys(seed: int) -> None:
    """Against scipy.optimize.lsq_linear on the same problem."""
    from scipy.optimize import lsq_linear  # noqa: PLC0415

    chance = np.random.default_rng(seed)
    n = 12
    second = np.diff(np.eye(n), 2, axis=0)
    rows = np.vstack([np.diag(chance.uniform(0.5, 2.0, n)), second])
    wanted = chance.normal(0.0, 1.0, len(rows))
    least, most = -chance.uniform(0.05, 0.5, n), chance.uniform(0.05, 0.5, n)
    square = rows.T @ rows
    band = np.zeros((3, n))
    for off in range(3):
        band[2 - off, off:] = np.diagonal(square, off)
    found = bounded_least_squares(band, rows.T @ wanted, least, most)
    assert found == pytest.approx(lsq_linear(rows, wanted, (least, most), tol=1e-12).x, abs=1e-4)
