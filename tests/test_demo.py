"""The committed demonstration is what its script makes."""

import sys
from pathlib import Path
from types import ModuleType

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import rasterio
import shapely

FIXTURES = Path(__file__).parents[1] / "fixtures"


@pytest.fixture(scope="module")
def make_demo() -> ModuleType:
    """The script, imported as it imports its neighbours."""
    sys.path.insert(0, str(FIXTURES))
    try:
        import make_demo  # noqa: PLC0415
    finally:
        sys.path.remove(str(FIXTURES))
    return make_demo


def test_run_file_rain_and_months_are_those_of_the_script(make_demo: ModuleType) -> None:
    assert (FIXTURES / "demo/demo.toml").read_text(encoding="utf-8") == make_demo.RUN_FILE
    assert (FIXTURES / "demo/rain.csv").read_text(encoding="utf-8") == make_demo.RAIN
    assert (FIXTURES / "demo/months.csv").read_text(encoding="utf-8") == make_demo.MONTHS


@pytest.mark.slow
def test_committed_demo_is_what_a_fresh_run_of_its_script_writes(
    make_demo: ModuleType, tmp_path: Path
) -> None:
    make_demo.main(tmp_path)
    committed = FIXTURES / "demo"
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(p.name for p in committed.iterdir())
    # Processors differ in the last bits of a sine, and what water wears away enlarges that here and
    # there: nearly all heights to 1 mm, all to 5 cm, and places to 1 cm.
    with rasterio.open(tmp_path / "dem.tif") as fresh, rasterio.open(committed / "dem.tif") as kept:
        assert fresh.profile == kept.profile
        off_m = np.abs(fresh.read(1) - kept.read(1))
        assert off_m.max() < 0.05
        assert np.mean(off_m > 0.001) < 0.05
    for name in ("boundary.gpkg", "features.gpkg"):
        layers = pyogrio.list_layers(committed / name)[:, 0].tolist()
        assert pyogrio.list_layers(tmp_path / name)[:, 0].tolist() == layers
        for layer in layers:
            fresh_rows = gpd.read_file(tmp_path / name, layer=layer)
            kept_rows = gpd.read_file(committed / name, layer=layer)
            assert fresh_rows.drop(columns="geometry").equals(kept_rows.drop(columns="geometry"))
            assert shapely.equals_exact(
                fresh_rows.geometry.array, kept_rows.geometry.array, tolerance=0.01
            ).all(), layer
