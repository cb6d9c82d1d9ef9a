"""Drainage lines where water gathers, and nowhere else; hollows kept or filled by rule."""

import numpy as np
import pytest

from soakline.grid import FloatArray, Grid, GroundArray
from soakline.terrain import drainage
from soakline.terrain.compass import VOID
from soakline.terrain.drainage import DrainageLine, drainage_lines
from soakline.terrain.flow import Flow, flow_over
from soakline.terrain.ground import mean_ground
from soakline.terrain.hollows import Hollows, fill_hollows, find_hollows, hollow_outlines
from soakline.terrain.landform import landforms
from tests.terrain.drawings import directions
from tests.terrain.slow_twins import upstream_by_walking
from tests.terrain_analytic.ground import (
    CENTRE_EASTING_M,
    CENTRE_NORTHING_M,
    centred_grid,
    from_centre,
    hollow,
    plane,
    ring_hill,
    saddle,
    sample,
    spur,
    v_valley,
)

LEAST_M2 = 20_000.0


def lines_on(dem: GroundArray, grid: Grid) -> tuple[DrainageLine, ...]:
    filled = fill_hollows(dem)
    flow = flow_over(filled.filled_m, filled.valid, filled.domain)
    kept = find_hollows(dem, filled, grid, 0.3, 100.0).kept_cells
    return drainage_lines(mean_ground(dem, grid, 5.0), flow, grid, LEAST_M2, kept)[0]


@pytest.mark.parametrize("slope_pct", [2.0, 4.0, 8.0, 15.0])
@pytest.mark.parametrize("rotation_deg", [0.0, 20.0])
def test_a_plane_with_survey_noise_has_no_drainage_line(
    slope_pct: float, rotation_deg: float
) -> None:
    """Long enough that every cell at its foot has the area of a line behind false channels."""
    dem, grid = sample(
        plane(slope_pct), width_m=500.0, noise_m=0.05, rotation_deg=rotation_deg, seed=3
    )
    filled = fill_hollows(dem)
    flow = flow_over(filled.filled_m, filled.valid, filled.domain)
    if slope_pct == 2.0:
        # Without confirmation there would be many.
        assert (flow.upstream_cells * grid.cell_area_m2 >= LEAST_M2 / 4).any()
    assert lines_on(dem, grid) == ()


@pytest.mark.parametrize("noise_m", [0.0, 0.05])
@pytest.mark.parametrize("rotation_deg", [0.0, 20.0, 45.0])
@pytest.mark.parametrize("width_m", [400.0, 401.0])
def test_a_valley_has_one_line_on_its_axis(
    noise_m: float, rotation_deg: float, width_m: float
) -> None:
    """The axis runs between two columns of cells at 400 m, along one at 401 m."""
    dem, grid = sample(
        v_valley(8.0, 2.0), width_m=width_m, noise_m=noise_m, rotation_deg=rotation_deg
    )
    lines = lines_on(dem, grid)
    assert len(lines) == 1
    angle = np.radians(rotation_deg)
    across = (lines[0].easting_m - CENTRE_EASTING_M) * np.cos(angle) - (
        lines[0].northing_m - CENTRE_NORTHING_M
    ) * np.sin(angle)
    assert np.abs(across).max() < (2.0 if noise_m == 0.0 else 3.0)
    heights = dem[(grid.row_column(lines[0].easting_m, lines[0].northing_m)[0]).astype(int), 0]
    assert heights.size > 150


def round_valley(easting: FloatArray, northing: FloatArray) -> FloatArray:
    """A hillside that falls 10 % to the south, in waves of 180 m from side to side and 8 m high."""
    east_m, north_m = from_centre(easting, northing)
    return 200.0 + 0.10 * north_m - 4.0 * np.cos(2.0 * np.pi * east_m / 180.0)


@pytest.mark.parametrize("noise_m", [0.0, 0.05])
@pytest.mark.parametrize("rotation_deg", [0.0, 20.0])
@pytest.mark.parametrize("cell_m", [1.0, 2.0, 5.0])
def test_a_round_valley_has_one_line_on_its_axis_from_where_enough_land_drains_to_it(
    noise_m: float, rotation_deg: float, cell_m: float
) -> None:
    """170 m of it on the DEM: 5 ha lie 300 m below the top, some of which has not gathered yet."""
    dem, grid = sample(
        round_valley,
        width_m=170.0,
        height_m=500.0,
        cell_m=cell_m,
        noise_m=noise_m,
        rotation_deg=rotation_deg,
    )
    lines = lines_on(dem, grid)
    assert len(lines) == 1
    angle = np.radians(rotation_deg)
    east = lines[0].easting_m - CENTRE_EASTING_M
    north = lines[0].northing_m - CENTRE_NORTHING_M
    across = east * np.cos(angle) - north * np.sin(angle)
    along = east * np.sin(angle) + north * np.cos(angle)
    assert np.abs(across).max() < 10.0
    assert 250.0 - along.max() < 320.0


def lines_of(
    drawing: str,
    monkeypatch: pytest.MonkeyPatch,
    least_m2: float = 1.0,
    block_cells: int = 1,
    standing: tuple[int, ...] = (),
) -> tuple[DrainageLine, ...]:
    """Lines of a drawn network on cells of 1 m, all of it confirmed as a valley."""
    direction = directions(drawing)
    valid = direction != VOID
    upstream = upstream_by_walking(direction, valid).astype(np.uint32)
    everywhere = np.ones(direction.shape, dtype=bool)
    monkeypatch.setattr(drainage, "valley_blocks", lambda *_: (everywhere, block_cells))
    rows, columns = direction.shape
    grid = centred_grid(float(columns), float(rows))
    return drainage_lines(
        np.zeros(direction.shape, np.float32),
        Flow(direction, upstream),
        grid,
        least_m2,
        np.array(standing, np.int64),
    )[0]


def figures(lines: tuple[DrainageLine, ...]) -> list[tuple[int, float, int]]:
    """Order, area and vertices of each line."""
    return [(one.order_strahler, one.contributing_m2, one.easting_m.size) for one in lines]


CONFLUENCE = """
       ↓
       ↓
       ↓
       ↓
       ↓
       ↓
→→→→→→→→→→→o
"""


def test_lines_end_at_a_confluence_with_their_own_area_and_the_largest_comes_first(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """7 cells and 6 meet in the eighth of 12; 18 cells in all."""
    lines = lines_of(CONFLUENCE, monkeypatch)
    assert figures(lines) == [(2, 18.0, 5), (1, 7.0, 8), (1, 6.0, 7)]


def test_no_line_begins_in_standing_water_and_one_that_comes_in_goes_through(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The lower arm is under water from end to end but for its last cell; the upper comes in."""
    columns = 12
    under = tuple(6 * columns + column for column in range(9))
    lines = lines_of(CONFLUENCE, monkeypatch, standing=under)
    assert figures(lines) == [(1, 18.0, 11)]


def test_a_line_begins_right_below_the_water_that_only_its_shores_feed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    lines = lines_of("→→→→→→→→→→→o", monkeypatch, standing=tuple(range(4)))
    assert figures(lines) == [(1, 12.0, 8)]


@pytest.mark.parametrize(("cells", "orders"), [(5, [1]), (6, [2, 1, 1])])
def test_a_head_of_up_to_six_blocks_is_no_line(
    monkeypatch: pytest.MonkeyPatch, cells: int, orders: list[int]
) -> None:
    """The cell that it ends in counts to its length."""
    rows = CONFLUENCE.strip("\n").splitlines()
    lines = lines_of("\n".join(rows[6 - cells :]), monkeypatch)
    assert [one.order_strahler for one in lines] == orders


def test_of_two_short_heads_that_meet_the_longer_is_the_line(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    drawing = """
→→→↓
   →→→→→→→→→→o
 →→↑
"""
    (line,) = lines_of(drawing, monkeypatch)
    assert line.northing_m[0] > line.northing_m[-1]
    assert figures((line,)) == [(1, 18.0, 15)]


@pytest.mark.parametrize(("least_m2", "cells"), [(5.0, 7), (5.5, 6), (6.0, 6), (12.0, 0)])
def test_a_line_begins_with_the_first_cell_that_has_the_area(
    monkeypatch: pytest.MonkeyPatch, least_m2: float, cells: int
) -> None:
    lines = lines_of("→→→→→→→→→→o", monkeypatch, least_m2)
    assert [one.easting_m.size for one in lines] == ([cells] if cells else [])


@pytest.mark.parametrize(("beside", "apart", "lines"), [(18, 2, 1), (17, 3, 2)])
def test_lines_side_by_side_for_nine_tenths_of_the_smaller_are_one(
    monkeypatch: pytest.MonkeyPatch, beside: int, apart: int, lines: int
) -> None:
    column = " " * (beside - 1)
    smaller = ["→" * (beside - 1) + "↓", *[column + "↓"] * (apart - 1), column + "o"]
    drawing = "\n".join(["→" * 29 + "o", *smaller])
    found = lines_of(drawing, monkeypatch)
    assert len(found) == lines
    assert found[0].contributing_m2 == (50.0 if lines == 1 else 30.0)


def hollow_ground(depth_m: float, radius_m: float) -> Hollows:
    """On level ground the pond's depth and volume are the bowl's: V = π r² d / 2."""
    dem, grid = sample(hollow(plane(0.0), depth_m, radius_m, 3.0, -7.0), width_m=120.0)
    return find_hollows(dem, fill_hollows(dem), grid, 0.3, 100.0)


def test_a_bowl_s_depth_area_and_volume_are_measured() -> None:
    found = hollow_ground(1.2, 25.0)
    assert found.depth_m.tolist() == pytest.approx([1.2], abs=0.01)
    assert found.area_m2.tolist() == pytest.approx([np.pi * 25.0**2], rel=0.01)
    assert found.volume_m3.tolist() == pytest.approx([np.pi * 25.0**2 * 1.2 / 2.0], rel=0.01)
    assert found.level_m.tolist() == pytest.approx([400.0])


@pytest.mark.parametrize(
    ("depth_m", "radius_m", "kept"),
    [(0.5, 10.0, True), (0.25, 10.0, False), (0.5, 5.0, False), (0.2, 4.0, False)],
)
def test_a_hollow_both_deep_and_wide_is_kept(depth_m: float, radius_m: float, kept: bool) -> None:
    """Over 0.3 m and over 100 m²; deep and small, or shallow and wide: filled."""
    assert hollow_ground(depth_m, radius_m).kept.tolist() == [kept]


def test_hollows_that_touch_at_a_corner_are_one_polygon() -> None:
    dem = np.full((9, 9), 10.0, np.float32)
    dem[3, 3] = dem[4, 4] = 8.0
    grid = sample(plane(0.0), width_m=9.0)[1]
    found = find_hollows(dem, fill_hollows(dem), grid, 0.3, 1.0)
    assert found.depth_m.tolist() == [2.0]
    assert found.volume_m3.tolist() == [4.0]
    outline = hollow_outlines(found, [0], grid)[0]
    assert outline.geom_type == "Polygon"
    assert outline.is_valid
    assert outline.area == pytest.approx(2.0, abs=0.02)


@pytest.mark.parametrize(
    ("form", "expected"),
    [
        (plane(8.0), "slope"),
        (v_valley(8.0, 4.0, rounding_m=10.0), "valley"),
        (spur(8.0, 4.0), "ridge"),
        (ring_hill(10.0, 60.0), "ridge"),
        (saddle(15.0, 55.0, 240.0), "saddle"),
    ],
    ids=["plane", "valley", "spur", "hilltop", "pass"],
)
def test_landform_is_told_from_curvature(form, expected: str) -> None:  # type: ignore[no-untyped-def]
    dem, grid = sample(form, width_m=300.0)
    place = [np.array([CENTRE_EASTING_M]), np.array([CENTRE_NORTHING_M])]
    uphill = [np.array([0.0]), np.array([1.0])]
    assert landforms(dem, grid, *place, *uphill, np.array([80.0])) == [expected]
