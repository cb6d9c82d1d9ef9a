"""Tiles: one grid, nothing lost at the seams, and no silence where they disagree."""

from pathlib import Path

import numpy as np
import pytest
from rasterio.transform import from_origin

from soakline.problems import InputRefused
from tests.inputs.files import NORTH_M, WEST_M, codes, read_dem, tilted_m, write_raster


def write_tile(path: Path, heights: np.ndarray, row: int, column: int) -> Path:
    """Write a tile whose first cell is (row, column) of the common grid."""
    return write_raster(path, heights, from_origin(WEST_M + column, NORTH_M - row, 1.0, 1.0))


def test_tiles_make_the_whole_bit_for_bit(tmp_path: Path) -> None:
    whole = tilted_m(60, 80)
    parts = [(0, 30, 0, 50), (0, 30, 50, 80), (30, 60, 0, 50), (30, 60, 50, 80)]
    tiles = [
        write_tile(tmp_path / f"{n}.tif", whole[a:b, c:d].copy(), a, c)
        for n, (a, b, c, d) in enumerate(parts)
    ]
    for order in (tiles, tiles[::-1]):
        elevation, findings = read_dem(*order)
        assert elevation.dem_m.tobytes() == whole.tobytes()
        assert findings == ()


def test_ground_between_tiles_has_no_height(tmp_path: Path) -> None:
    whole = tilted_m(60, 80)
    first = write_tile(tmp_path / "a.tif", whole[:30, :40].copy(), 0, 0)
    second = write_tile(tmp_path / "b.tif", whole[30:, 40:].copy(), 30, 40)
    elevation, _ = read_dem(first, second)
    assert np.isfinite(elevation.dem_m).sum() == 2 * 30 * 40
    assert np.isnan(elevation.dem_m[:30, 40:]).all()


def test_overlaps_that_agree_are_silent_and_those_that_differ_are_told(tmp_path: Path) -> None:
    whole = tilted_m(60, 80)
    first = write_tile(tmp_path / "a.tif", whole[:, :50].copy(), 0, 0)
    second = whole[:, 40:].copy()
    assert read_dem(first, write_tile(tmp_path / "b.tif", second, 0, 40))[1] == ()
    second[:30, :10] += 0.25
    elevation, findings = read_dem(first, write_tile(tmp_path / "b.tif", second, 0, 40))
    assert codes(findings) == ["tiles_differ"]
    assert "50.0 % of 600 cells" in findings[0].message
    assert "0.250 m" in findings[0].message
    assert elevation.dem_m[:, :50].tobytes() == whole[:, :50].tobytes()


def test_a_later_tile_fills_holes_of_an_earlier_one(tmp_path: Path) -> None:
    whole = tilted_m(20, 20)
    holed = whole.copy()
    holed[5:9, 5:9] = np.nan
    paths = write_tile(tmp_path / "a.tif", holed, 0, 0), write_tile(tmp_path / "b.tif", whole, 0, 0)
    elevation, findings = read_dem(*paths)
    assert elevation.dem_m.tobytes() == whole.tobytes()
    assert findings == ()


@pytest.mark.parametrize(
    ("shift_m", "cell_m", "crs", "found"),
    [
        (0.4, 1.0, "EPSG:32755", "a grid off by"),
        (0.0, 2.0, "EPSG:32755", "cells of 2 x 2"),
        (0.0, 1.0, "EPSG:32756", "UTM zone 56S"),
    ],
)
def test_tiles_of_another_grid_are_refused_by_name(
    tmp_path: Path, shift_m: float, cell_m: float, crs: str, found: str
) -> None:
    first = write_tile(tmp_path / "first.tif", tilted_m(), 0, 0)
    place = from_origin(WEST_M + 80 + shift_m, NORTH_M, cell_m, cell_m)
    other = write_raster(tmp_path / "other.tif", tilted_m(), place, crs)
    with pytest.raises(InputRefused) as refused:
        read_dem(first, other)
    message = str(refused.value)
    assert "other.tif" in message
    assert "first.tif" in message
    assert found in message


def test_a_tile_from_elsewhere_is_refused_before_memory_is_taken(tmp_path: Path) -> None:
    near = write_tile(tmp_path / "near.tif", tilted_m(), 0, 0)
    far = write_tile(tmp_path / "far.tif", tilted_m(), 200_000, 150_000)
    with pytest.raises(InputRefused, match="scattered"):
        read_dem(near, far)


def test_files_beside_tiles_are_passed_over(tmp_path: Path) -> None:
    tile = write_tile(tmp_path / "a.tif", tilted_m(), 0, 0)
    (tmp_path / "a.tfw").write_text("1\n0\n0\n-1\n0\n0\n", encoding="ascii")
    elevation, _ = read_dem(tmp_path / "a.tfw", tile)
    assert elevation.grid.shape == (60, 80)
