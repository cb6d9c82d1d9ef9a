"""Elevation: what is taken bit for bit, what is brought to a metric grid, what is refused."""

from pathlib import Path

import numpy as np
import pytest
import rasterio
from affine import Affine
from pyproj import CRS, Transformer
from rasterio.transform import from_origin

from soakline.inputs.elevation import plan_elevation
from soakline.inputs.transforms import applied
from soakline.inputs.types import Elevation
from soakline.problems import InputRefused
from tests.inputs.files import NORTH_M, UTM, WEST_M, codes, read_dem, tilted_m, write_raster

COS, SIN = np.cos(np.radians(33.0)), np.sin(np.radians(33.0))
ROTATED = Affine(COS, SIN, WEST_M, SIN, -COS, NORTH_M)


def plane_error_m(elevation: Elevation, to_source: Affine, crs: str) -> np.ndarray:
    """Heights read less the plane of `tilted_m`, at every valid cell, m."""
    grid = elevation.grid
    rows, columns = np.nonzero(np.isfinite(elevation.dem_m))
    easting, northing = grid.easting_northing(rows, columns)
    x, y = Transformer.from_crs(grid.crs_wkt, crs, always_xy=True).transform(easting, northing)
    column, row = applied(to_source, np.asarray(x), np.asarray(y))
    true = 100.0 + 0.05 * (row - 0.5) + 0.031 * (column - 0.5)
    return elevation.dem_m[rows, columns] - true


def test_a_metric_dem_is_taken_bit_for_bit(tmp_path: Path) -> None:
    heights = tilted_m()
    elevation, findings = read_dem(write_raster(tmp_path / "dem.tif", heights))
    assert elevation.dem_m.tobytes() == heights.tobytes()
    assert elevation.grid.shape == heights.shape
    assert (elevation.grid.west_m, elevation.grid.north_m) == (WEST_M, NORTH_M)
    assert CRS.from_wkt(elevation.grid.crs_wkt).to_epsg() == 32755
    assert not elevation.dem_m.flags.writeable
    assert findings == ()


@pytest.mark.parametrize("driver", ["AAIGrid", "HFA", "EHdr", "ENVI", "SAGA", "RST"])
def test_each_allowed_format_is_read(tmp_path: Path, driver: str) -> None:
    endings = {"AAIGrid": "asc", "HFA": "img", "SAGA": "sdat", "RST": "rst"}
    path = tmp_path / f"dem.{endings.get(driver, 'bil')}"
    if driver == "AAIGrid":
        rows = "\n".join(" ".join(f"{h:.3f}" for h in row) for row in tilted_m(5, 6))
        head = f"ncols 6\nnrows 5\nxllcorner {WEST_M}\nyllcorner {NORTH_M - 5}\ncellsize 1\n"
        path.write_text(f"{head}{rows}\n", encoding="ascii")
        path.with_suffix(".prj").write_text(CRS(UTM).to_wkt("WKT1_ESRI"), encoding="ascii")
    else:
        write_raster(path, tilted_m(5, 6), driver=driver)
    elevation, _ = read_dem(path)
    assert elevation.grid.shape == (5, 6)
    np.testing.assert_allclose(elevation.dem_m, tilted_m(5, 6), atol=6e-4)


def test_nodata_nan_and_infinities_have_no_height(tmp_path: Path) -> None:
    heights = tilted_m()
    heights[0, 0], heights[1, 1], heights[2, 2], heights[3, 3] = -9999, np.nan, np.inf, -np.inf
    elevation, findings = read_dem(write_raster(tmp_path / "dem.tif", heights, nodata=-9999))
    assert np.isnan(elevation.dem_m[[0, 1, 2, 3], [0, 1, 2, 3]]).all()
    assert np.isnan(elevation.dem_m).sum() == 4
    assert codes(findings) == ["dem_infinite"]
    assert "2 cells" in findings[0].message


def test_integers_with_scale_and_offset_are_heights(tmp_path: Path) -> None:
    stored = np.arange(60, dtype=np.int16).reshape(6, 10)
    path = write_raster(tmp_path / "dem.tif", stored, nodata=-32768)
    with rasterio.open(path, "r+") as dataset:
        dataset.scales, dataset.offsets = (0.1,), (200.0,)
    elevation, _ = read_dem(path)
    np.testing.assert_allclose(elevation.dem_m, 200.0 + stored * 0.1, atol=1e-4)


@pytest.mark.parametrize(("unit", "metres"), [("ft", 0.3048), ("us-ft", 1200 / 3937)])
def test_vertical_feet_become_metres(tmp_path: Path, unit: str, metres: float) -> None:
    elevation, _ = read_dem(write_raster(tmp_path / "dem.tif", tilted_m()), unit=unit)  # type: ignore[arg-type]
    np.testing.assert_allclose(elevation.dem_m, tilted_m().astype(np.float64) * metres, rtol=1e-6)


def test_a_unit_stated_by_the_file_that_differs_is_told(tmp_path: Path) -> None:
    path = write_raster(tmp_path / "dem.tif", tilted_m())
    with rasterio.open(path, "r+") as dataset:
        dataset.units = ("ft",)
    assert codes(read_dem(path)[1]) == ["vertical_unit_differs"]
    assert codes(read_dem(path, unit="ft")[1]) == []


def test_a_south_up_dem_is_turned_without_interpolation(tmp_path: Path) -> None:
    upwards = Affine(1, 0, WEST_M, 0, 1, NORTH_M - 60)
    path = write_raster(tmp_path / "dem.tif", tilted_m()[::-1].copy(), upwards)
    elevation, findings = read_dem(path)
    assert elevation.dem_m.tobytes() == tilted_m().tobytes()
    assert elevation.grid.north_m == NORTH_M
    assert codes(findings) == ["dem_turned"]


def test_a_mirrored_dem_is_turned_too(tmp_path: Path) -> None:
    westwards = Affine(-1, 0, WEST_M + 80, 0, -1, NORTH_M)
    path = write_raster(tmp_path / "dem.tif", tilted_m()[:, ::-1].copy(), westwards)
    elevation, _ = read_dem(path)
    assert elevation.dem_m.tobytes() == tilted_m().tobytes()
    assert elevation.grid.west_m == WEST_M


@pytest.mark.parametrize(
    ("transform", "crs", "why"),
    [
        (ROTATED, UTM, "rotated"),
        (from_origin(WEST_M, NORTH_M, 1.0, 2.0), UTM, "not square"),
        (from_origin(148.5, -35.2, 1e-5, 1e-5), "EPSG:4326", "geographic"),
        (from_origin(2_800_000, 1_000_000, 3.0, 3.0), "EPSG:26851", "US survey foot"),
    ],
)
def test_other_grids_are_warped_true_to_height_and_told(
    tmp_path: Path, transform: Affine, crs: str, why: str
) -> None:
    path = write_raster(tmp_path / "dem.tif", tilted_m(), transform, crs)
    elevation, findings = read_dem(path)
    assert codes(findings) == ["dem_warped"]
    assert why in findings[0].message
    working = CRS.from_wkt(elevation.grid.crs_wkt)
    assert working.is_projected
    assert working.axis_info[0].unit_name == "metre"
    error_m = np.abs(plane_error_m(elevation, ~transform, crs))
    # Half a cell at the rim is drawn out flat; everywhere else bilinear is exact on a plane.
    assert error_m.max() < 0.06
    assert np.quantile(error_m, 0.9) < 0.002
    assert np.isfinite(elevation.dem_m).sum() * elevation.grid.cell_area_m2 == pytest.approx(
        _area_m2(transform, crs), rel=0.03
    )


def _area_m2(transform: Affine, crs: str) -> float:
    if crs == "EPSG:4326":
        geod = CRS(crs).get_geod()
        assert geod is not None
        w, n = applied(transform, 0.0, 0.0)
        e, s = applied(transform, 80.0, 60.0)
        return abs(geod.polygon_area_perimeter([w, e, e, w], [s, s, n, n])[0])
    unit_m = CRS(crs).axis_info[0].unit_conversion_factor
    return 60 * 80 * abs(transform.determinant) * unit_m**2


def test_the_crs_asked_for_is_the_working_crs(tmp_path: Path) -> None:
    path = write_raster(tmp_path / "dem.tif", tilted_m())
    elevation, findings = read_dem(path, crs=CRS.from_epsg(28355))
    assert CRS.from_wkt(elevation.grid.crs_wkt).to_epsg() == 28355
    assert codes(findings) == ["dem_warped"]


def test_a_crs_that_stretches_the_land_is_told(tmp_path: Path) -> None:
    path = write_raster(tmp_path / "dem.tif", tilted_m(), crs="EPSG:3857")
    elevation, findings = read_dem(path)
    assert elevation.dem_m.tobytes() == tilted_m().tobytes()
    assert codes(findings) == ["crs_scale"]


@pytest.mark.parametrize(
    ("cell_m", "told"),
    [(5.0, []), (5.1, ["indicative"]), (10.0, ["indicative"]), (12.0, ["indicative", "no_pegs"])],
)
def test_coarse_cells_make_the_plan_indicative(
    tmp_path: Path, cell_m: float, told: list[str]
) -> None:
    place = from_origin(WEST_M, NORTH_M, cell_m, cell_m)
    _, findings = read_dem(write_raster(tmp_path / "dem.tif", tilted_m(), place))
    assert codes(findings) == told


def test_headers_alone_give_the_grid(tmp_path: Path) -> None:
    path = write_raster(tmp_path / "dem.tif", np.full((60, 80), np.nan, np.float32))
    assert plan_elevation([path], None).grid.shape == (60, 80)


def refusal(*paths: Path, unit: str = "m") -> str:
    with pytest.raises(InputRefused) as refused:
        read_dem(*paths, unit=unit)  # type: ignore[arg-type]
    assert all(p.key == "property.dem" for p in refused.value.problems)
    return str(refused.value)


def test_bad_cells_are_refused(tmp_path: Path) -> None:
    nothing = np.full((9, 9), np.nan, np.float32)
    assert "no valid cell" in refusal(write_raster(tmp_path / "nan.tif", nothing))
    assert "no valid cell" in refusal(write_raster(tmp_path / "inf.tif", nothing + np.inf))
    level = np.full((9, 9), 7.0, np.float32)
    assert "same height, 7 m" in refusal(write_raster(tmp_path / "level.tif", level))
    undeclared = tilted_m()
    undeclared[3, 3] = -9999
    message = refusal(write_raster(tmp_path / "hole.tif", undeclared))
    assert "-9999" in message
    assert "nodata" in message
    assert "vertical_unit" in refusal(write_raster(tmp_path / "mm.tif", tilted_m() * 1000))


def test_files_that_are_no_dem_are_refused(tmp_path: Path) -> None:
    assert "2 bands" in refusal(write_raster(tmp_path / "two.tif", np.stack([tilted_m()] * 2)))
    assert "no CRS" in refusal(write_raster(tmp_path / "crs.tif", tilted_m(), crs=None))
    assert "1 x 1 cells" in refusal(write_raster(tmp_path / "one.tif", tilted_m(1, 1)))
    assert "2 x 9 cells" in refusal(write_raster(tmp_path / "thin.tif", tilted_m(2, 9)))
    (tmp_path / "text.tif").write_text("no raster", encoding="ascii")
    assert "not a raster" in refusal(tmp_path / "text.tif")
    (tmp_path / "empty.tif").touch()
    assert "empty file" in refusal(tmp_path / "empty.tif")
    assert "no such file" in refusal(tmp_path / "absent.tif")
    assert "a folder" in refusal(tmp_path)


def test_a_dem_cut_short_is_refused(tmp_path: Path) -> None:
    whole = write_raster(tmp_path / "whole.tif", tilted_m(300, 300)).read_bytes()
    (tmp_path / "cut.tif").write_bytes(whole[: len(whole) // 2])
    message = refusal(tmp_path / "cut.tif")
    assert "cut.tif" in message
    assert "cut short" in message or "damaged" in message


def test_addresses_and_virtual_rasters_are_refused(tmp_path: Path) -> None:
    assert "address" in refusal(Path("/vsicurl/http://example.org/dem.tif"))
    assert "address" in refusal(tmp_path / "https://example.org/dem.tif")
    inner = write_raster(tmp_path / "dem.tif", tilted_m())
    (tmp_path / "dem.vrt").write_text(
        '<VRTDataset rasterXSize="80" rasterYSize="60"><VRTRasterBand dataType="Float32" band="1">'
        f"<SimpleSource><SourceFilename>{inner}</SourceFilename></SimpleSource>"
        "</VRTRasterBand></VRTDataset>",
        encoding="ascii",
    )
    assert "not a raster of an allowed format" in refusal(tmp_path / "dem.vrt")
