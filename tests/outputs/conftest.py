"""One plan, written once for all the tests that only read it."""

from pathlib import Path

import pytest

from soakline.outputs.geopackage import write_plan
from soakline.outputs.iso_metadata import PlanDescription
from tests.outputs.hillside import CRS, Layers, hillside_layers

DESCRIBE = PlanDescription(
    "Plan for Two Valleys <& sons>",
    "Level trenches.",
    "Made ground, no survey.",
    "EPSG:32755 WGS 84 / UTM zone 55S",
    (146.5, -36.5, 146.75, -36.25),
    ("dem: dem.tif sha256=00ff",),
    ("rain.design = 10",),
)


@pytest.fixture(scope="session")
def layers() -> Layers:
    return hillside_layers()


@pytest.fixture(scope="session")
def plan_file(layers: Layers, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("plan") / "two valleys.gpkg"
    write_plan(path, layers, CRS, DESCRIBE)
    return path
