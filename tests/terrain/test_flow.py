"""Every cell drains, every valid cell counts once, and catchments follow the true aspect."""

import numpy as np
import pyflwdir
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as shapes

from soakline.grid import FloatArray, GroundArray
from soakline.siting.catchments import catchments_of
from soakline.terrain.compass import END, VOID
from soakline.terrain.flow import Flow, flow_over
from soakline.terrain.hollows import FilledGround, fill_hollows
from soakline.terrain.paths import first_intercept, path_down
from tests.terrain.slow_twins import upstream_by_walking
from tests.terrain_analytic.ground import (
    CENTRE_EASTING_M,
    CENTRE_NORTHING_M,
    cone,
    plane,
    sample,
)

# Power-of-two codes (Greenlee 1987), from east clockwise, for our codes from east anticlockwise.
D8 = np.array([1, 128, 64, 32, 16, 8, 4, 2, 0], dtype=np.uint8)


def flow_of(dem_m: GroundArray) -> tuple[FilledGround, Flow]:
    filled = fill_hollows(dem_m)
    return filled, flow_over(filled.filled_m, filled.valid, filled.domain)


def random_terrain(seed: int, rows: int = 120, columns: int = 150) -> GroundArray:
    """Noise on several scales, so that there are hollows in hollows."""
    random = np.random.default_rng(seed)
    dem = random.normal(0.0, 0.3, (rows, columns))
    for size in (4, 10, 25):
        coarse = random.normal(0.0, size / 4.0, (rows // size + 2, columns // size + 2))
        dem += np.kron(coarse, np.ones((size, size)))[:rows, :columns]
    return dem.astype(np.float32)


@pytest.mark.parametrize("seed", range(4))
def test_contributing_area_sums_to_the_valid_cells(seed: int) -> None:
    dem = random_terrain(seed)
    filled, flow = flow_of(dem)
    assert flow.upstream_cells[flow.direction == END].sum() == dem.size
    assert flow.upstream_cells.min() >= 1
    assert np.array_equal(flow.direction == END, rim_of(filled))


@pytest.mark.parametrize("turns", range(4))
@pytest.mark.parametrize("mirrored", [False, True])
def test_of_two_ways_equally_far_off_the_cardinal_one_is_taken_on_either_side(
    turns: int, mirrored: bool
) -> None:
    """Falls of 2 to the east and 1 to the south: as far from east as from south-east."""
    row, column = np.mgrid[0:3, 0:3]
    dem = 9.0 - 2.0 * column - 1.0 * row
    dem = np.rot90(dem[::-1] if mirrored else dem, turns).astype(np.float32)
    assert flow_of(np.ascontiguousarray(dem))[1].direction[1, 1] == 2 * turns


def rim_of(filled: FilledGround) -> np.ndarray:
    """Cells of the domain beside what lies outside it."""
    around = np.pad(filled.domain, 1)
    inside = np.ones(filled.domain.shape, dtype=bool)
    for row in range(3):
        for column in range(3):
            rows, columns = filled.domain.shape
            inside &= around[row : row + rows, column : column + columns]
    return filled.domain & ~inside


def test_a_collar_of_missing_cells_is_outside() -> None:
    dem = random_terrain(7)
    dem[:9] = dem[:, -12:] = np.nan
    dem[20:30, :6] = np.nan
    filled, flow = flow_of(dem)
    valid = ~np.isnan(dem)
    assert (flow.direction[~valid] == VOID).all()
    assert flow.upstream_cells[flow.direction == END].sum() == valid.sum()
    assert np.array_equal(flow.direction == END, rim_of(filled))


def test_water_crosses_a_hole_but_the_hole_has_no_area() -> None:
    """A missing patch inside the DEM is flooded like a pond: no outlet, and no area of its own."""
    dem, _ = sample(plane(5.0), width_m=60.0)
    dem[25:32, 28:40] = np.nan
    _, flow = flow_of(dem)
    assert (flow.direction[25:32, 28:40] < END).all()
    assert flow.upstream_cells[flow.direction == END].sum() == (~np.isnan(dem)).sum()
    # What comes down above the hole leaves it on its lower side.
    path = path_down(flow.direction, 20 * 60 + 34, np.zeros(dem.shape, dtype=bool))
    assert np.isnan(dem.ravel()[path]).any()
    assert path[-1] // 60 == 59


@settings(max_examples=60, deadline=None)
@given(
    shapes.arrays(
        np.float32,
        shapes.array_shapes(min_dims=2, max_dims=2, min_side=1, max_side=9),
        elements=st.sampled_from([0.0, 1.0, 1.0, 2.0, 3.5, np.nan]).map(np.float32),
    )
)
def test_every_cell_drains_whatever_the_flats_ties_and_gaps(dem: GroundArray) -> None:
    filled, flow = flow_of(dem)
    # Walking down raises if water runs in a circle.
    expected = upstream_by_walking(flow.direction, filled.valid)
    assert flow.upstream_cells.tolist() == expected.tolist()
    assert flow.upstream_cells[flow.direction == END].sum() == filled.valid.sum()
    rows, columns = np.nonzero(flow.direction < END)
    for row, column in zip(rows, columns, strict=True):
        k = int(flow.direction[row, column])
        down = filled.filled_m[row + ROW[k], column + COLUMN[k]]
        assert down <= filled.filled_m[row, column]


ROW = (0, -1, -1, -1, 0, 1, 1, 1)
COLUMN = (1, 1, 0, -1, -1, -1, 0, 1)


@pytest.mark.parametrize("seed", range(3))
def test_given_the_same_directions_pyflwdir_counts_the_same(seed: int) -> None:
    dem = random_terrain(seed)
    dem[:5, :40] = np.nan
    filled, flow = flow_of(dem)
    codes = np.where(flow.direction == VOID, 247, D8[np.minimum(flow.direction, END)])
    peer = pyflwdir.from_array(codes.astype(np.uint8), ftype="d8", check_ftype=False)
    assert filled.valid.sum() == peer.mask.sum()
    counted = peer.upstream_area("cell")
    assert np.array_equal(counted[filled.valid], flow.upstream_cells[filled.valid])


@pytest.mark.parametrize("seed", range(3))
def test_given_the_same_directions_pyflwdir_labels_the_same(seed: int) -> None:
    """Lines as basins' outlets: nested ones too, where the first met wins."""
    dem = random_terrain(seed)
    _, flow = flow_of(dem)
    random = np.random.default_rng(seed)
    burnt = np.zeros(dem.size, np.int32)
    cells = random.choice(dem.size, 25, replace=False)
    burnt[cells] = np.arange(1, 26)
    label = first_intercept(flow.direction, burnt.reshape(dem.shape))
    codes = D8[np.minimum(flow.direction, END)]
    peer = pyflwdir.from_array(codes, ftype="d8", check_ftype=False)
    basins = peer.basins(idxs=cells, ids=np.arange(1, 26, dtype=np.uint32))
    assert np.array_equal(np.where(label == -1, 0, label), basins)


def ring(radius_m: float, start_deg: float = 0.0, end_deg: float = 360.0) -> FloatArray:
    angle = np.radians(np.arange(start_deg, end_deg + 0.01, 0.5))
    return np.column_stack(
        [
            CENTRE_EASTING_M + radius_m * np.cos(angle),
            CENTRE_NORTHING_M + radius_m * np.sin(angle),
        ]
    )


@pytest.mark.parametrize("shift_m", [0.0, 0.5])
def test_arcs_of_a_cone_catch_their_sector_within_a_twentieth(shift_m: float) -> None:
    """24 arcs of 15°; plain D8 gives 0.60 to 1.21 of the true area."""
    dem, grid = sample(cone(10.0), width_m=500.0 + 2.0 * shift_m)
    _, flow = flow_of(dem)
    arcs = [ring(230.0, 15.0 * i, 15.0 * (i + 1)) for i in range(24)]
    caught = catchments_of(arcs, flow.direction, ~np.isnan(dem), grid).area_m2
    share = caught / (np.pi * 230.0**2 / 24.0)
    assert share.min() > 0.95
    assert share.max() < 1.05


def test_a_whole_ring_catches_its_circle_within_a_hundredth() -> None:
    dem, grid = sample(cone(10.0), width_m=500.0)
    _, flow = flow_of(dem)
    found = catchments_of([ring(230.0)], flow.direction, ~np.isnan(dem), grid)
    assert found.area_m2[0] == pytest.approx(np.pi * 230.0**2, rel=0.01)
    assert found.area_m2[0] + found.bypass_m2 == dem.size


@pytest.mark.parametrize("aspect_deg", [180.0, 135.0, 193.0, 213.0, 252.5, 341.0])
def test_a_line_on_a_plane_catches_the_strip_above_it(aspect_deg: float) -> None:
    """100 m of level line with another one 120 m above it: 1 % straight down, 5 % at odd angles."""
    dem, grid = sample(plane(8.0, aspect_deg), width_m=420.0)
    _, flow = flow_of(dem)
    fall = np.array([np.sin(np.radians(aspect_deg)), np.cos(np.radians(aspect_deg))])
    along = np.array([-fall[1], fall[0]])
    centre = np.array([CENTRE_EASTING_M, CENTRE_NORTHING_M])
    lower = np.array([centre + 60.0 * fall + side * 50.0 * along for side in (-1.0, 1.0)])
    upper = np.array([centre - 60.0 * fall + side * 140.0 * along for side in (-1.0, 1.0)])
    area = catchments_of([upper, lower], flow.direction, ~np.isnan(dem), grid).area_m2[1]
    straight = aspect_deg % 45.0 == 0.0
    assert area == pytest.approx(100.0 * 120.0, rel=0.02 if straight else 0.05)
