"""A geographic DEM of about 74 × 93 m cells, from matplotlib's sample data.

Its file has `ymin` and `ymax` the wrong way round, as data found in the wild do; the grid is
written here the right way up. Coarse ground: what counts is that it is warped, said so and marked.
"""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import rasterio
from matplotlib import cbook
from pyproj import Geod
from rasterio.transform import from_origin
from shapely import box

from soakline.grid import GroundArray
from soakline.runfile.load import load_run_file
from soakline.stages.plan import make_plan
from soakline.stages.progress import Progress
from tests.terrain_analytic.ground import centred_grid
from tests.terrain_analytic.run_folder import write_run

pytestmark = pytest.mark.slow

ROW, COLUMN = 104, 124
PART = (slice(ROW, ROW + 20), slice(COLUMN, COLUMN + 22))
MARGIN = 5
"""Cells about the property."""


@pytest.fixture(scope="module")
def scarp() -> tuple[GroundArray, float, float, float]:
    with cbook.get_sample_data("jacksboro_fault_dem.npz") as data:
        assert float(data["ymin"]) > float(data["ymax"])
        step = float(data["dx"])
        west, north = float(data["xmin"]), max(float(data["ymin"]), float(data["ymax"]))
        dem = data["elevation"].astype(np.float32)
    return dem[PART], west + COLUMN * step, north - ROW * step, step


@pytest.fixture(scope="module")
def plan(scarp, tmp_path_factory: pytest.TempPathFactory) -> Path:  # type: ignore[no-untyped-def]
    dem, west, north, step = scarp
    folder = tmp_path_factory.mktemp("scarp")
    rows, columns = dem.shape
    inner = box(
        west + MARGIN * step,
        north - (rows - MARGIN) * step,
        west + (columns - MARGIN) * step,
        north - MARGIN * step,
    )
    boundary = gpd.GeoDataFrame({"name": ["scarp"]}, geometry=[inner], crs="EPSG:4326")
    run = {"siting": {"max_slope_pct": 35, "steep_sign_off": "for the test"}}
    file = write_run(folder, dem, centred_grid(10.0, 10.0), boundary=boundary, run=run)
    with rasterio.open(
        folder / "dem.tif",
        "w",
        driver="GTiff",
        dtype="float32",
        count=1,
        height=rows,
        width=columns,
        crs="EPSG:4326",
        transform=from_origin(west, north, step, step),
        nodata=-9999.0,
    ) as dataset:
        dataset.write(dem, 1)
    return make_plan(load_run_file(file), folder / "plan.gpkg", Progress()).path


def test_a_geographic_dem_is_warped_to_its_utm_zone_and_said_so(plan: Path) -> None:
    area = pyogrio.read_dataframe(plan, layer="property")
    assert area.crs.to_epsg() == 32616  # 84° west, north
    findings = pyogrio.read_dataframe(plan, layer="findings")
    assert findings.message.str.contains("warp|UTM", case=False).any()


def test_the_warped_property_has_its_true_area(plan: Path, scarp) -> None:  # type: ignore[no-untyped-def]
    """Ellipsoidal area by pyproj; UTM is off by less than a thousandth here."""
    dem, west, north, step = scarp
    rows, columns = dem.shape
    east, south = west + (columns - MARGIN) * step, north - (rows - MARGIN) * step
    west, north = west + MARGIN * step, north - MARGIN * step
    true, _ = Geod(ellps="WGS84").polygon_area_perimeter(
        [west, east, east, west], [south, south, north, north]
    )
    area = pyogrio.read_dataframe(plan, layer="property").area_m2[0]
    assert area == pytest.approx(abs(true), rel=2e-3)


def test_coarse_cells_make_the_plan_indicative_and_unpegged(plan: Path) -> None:
    """Over 5 m: indicative; over 10 m: no pegs."""
    findings = pyogrio.read_dataframe(plan, layer="findings")
    assert "indicative" in set(findings.code[findings.severity == "caution"])
    assert len(pyogrio.read_dataframe(plan, layer="pegs")) == 0


def test_storms_balance_on_coarse_ground_too(plan: Path) -> None:
    storms = pyogrio.read_dataframe(plan, layer="swale_storms")
    left = storms.stored_m3 + storms.infiltrated_m3 + storms.overflow_m3
    assert left.to_numpy() == pytest.approx(storms.inflow_m3.to_numpy(), rel=1e-6, abs=1e-9)


def test_lips_hold_the_ground_tolerance_on_coarse_cells_too(plan: Path) -> None:
    """The ground there is the bilinear DEM, and a level line of it bends within a cell."""
    swales = pyogrio.read_dataframe(plan, layer="swales")
    assert len(swales) > 0
    assert swales.ground_min_m.min() >= -0.03
    assert swales.ground_max_m.max() <= 0.15
