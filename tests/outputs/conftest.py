"""One plan, written once for all the tests that only read it."""

from pathlib import Path

import pytest

from soakline.outputs.geopackage import PlanDescription, write_plan
from tests.outputs.hillside import CRS, Layers, hillside_layers

DESCRIBE = PlanDescription("Plan for Two Valleys", "Level trenches.", "Made ground, no survey.")


@pytest.fixture(scope="session")
def layers() -> Layers:
    return hillside_layers()


@pytest.fixture(scope="session")
def plan_file(layers: Layers, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("plan") / "two valleys.gpkg"
    write_plan(path, layers, CRS, DESCRIBE)
    return path
