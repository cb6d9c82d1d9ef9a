"""One plan of a tilted plane with a benchmark, made once."""

from pathlib import Path

import numpy as np
import pytest

from soakline.runfile.load import load_run_file
from soakline.setout.plan import SetOutPlan
from soakline.setout.read import read_setout
from soakline.stages.plan import make_plan
from soakline.stages.progress import Progress
from tests.terrain_analytic.ground import plane, sample
from tests.terrain_analytic.run_folder import write_run

BENCHMARK = {"easting": 600_010.0, "northing": 6_000_020.0, "level_m": 401.25}
SETTINGS = {
    "property": {"benchmark": BENCHMARK},
    "spacing": {"mature_tree_height_m": 5.0},
    "section": {"base_width_m": 1.5, "depth_m": 0.5},
    "soil": {"texture": "loam"},
}


def made_plan(folder: Path) -> Path:
    """Plan a plane of 8 %, on which lips are straight; the run file and the DEM lie beside it."""
    dem, grid = sample(plane(8.0, 180.0), width_m=240.0)
    run_file = write_run(folder, dem.astype(np.float32), grid, run=SETTINGS)
    out = run_file.with_suffix(".gpkg")
    make_plan(load_run_file(run_file), out, Progress())
    return out


@pytest.fixture(scope="session")
def plan_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return made_plan(tmp_path_factory.mktemp("plane"))


@pytest.fixture(scope="session")
def plan(plan_file: Path) -> SetOutPlan:
    return read_setout(plan_file)
