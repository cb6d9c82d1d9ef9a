"""Plans of a tilted plane with a benchmark, without and with a track down the hill, made once."""

from collections.abc import Callable
from functools import cache
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely

from soakline.runfile.load import load_run_file
from soakline.setout.plan import SetOutPlan
from soakline.setout.read import read_setout
from soakline.stages.plan import make_plan
from soakline.stages.progress import Progress
from tests.terrain_analytic.ground import CENTRE_EASTING_M, CENTRE_NORTHING_M, plane, sample
from tests.terrain_analytic.run_folder import write_run

BENCHMARK = {"easting": 600_010.0, "northing": 6_000_020.0, "level_m": 401.25}
SETTINGS = {
    "property": {"benchmark": BENCHMARK},
    "spacing": {"mature_tree_height_m": 5.0},
    "section": {"base_width_m": 1.5, "depth_m": 0.5},
    "soil": {"texture": "loam"},
}


TRACK_M = 4.0
CROSSINGS = (
    "ford", "causeway", "gap", "ford at 60", "causeway at 60", "ford at 30", "causeway at 30",
)  # fmt: skip
# Beside sills and lips' ends, where nothing makes up for what an edge aslant takes of the mound, or
# where a causeway leaves the trench by its end.
NEAR_ENDS = (
    "ford at 20 by -30", "causeway at 20 by -30", "ford at 30 by -60", "causeway at 20 by -20",
    "causeway at 60 by 95", "ford at 135 by -15", "ford at 90 by 85",
)  # fmt: skip
PlanFileOf = Callable[[str], Path]


def lean_of(crossing: str) -> float:
    """Metres that the track goes east for each uphill, by the angle in the crossing's name."""
    _, _, angle_deg = crossing.partition(" by ")[0].partition(" at ")
    return float(1.0 / np.tan(np.radians(float(angle_deg)))) if angle_deg else 0.0


def made_plan(folder: Path, crossing: str = "", **layers: gpd.GeoDataFrame) -> Path:
    """Plan a plane of 8 %, on which lips are straight; the run file and the DEM lie beside it.

    Layers of the features file are given by name; the track of a crossing is one of them.
    """
    dem, grid = sample(plane(8.0, 180.0), width_m=240.0)
    run, features = dict(SETTINGS), dict(layers)
    if crossing:
        # So far east of where it would lie by its name.
        by_m = float(crossing.partition(" by ")[2] or 0.0)
        east, north = CENTRE_EASTING_M + 13.37 + by_m, CENTRE_NORTHING_M
        lean = 115.0 * lean_of(crossing)
        line = shapely.LineString([(east + lean, north + 115.0), (east - lean, north - 115.0)])
        columns = {"name": ["hill track"], "width_m": [TRACK_M]}
        features["tracks"] = gpd.GeoDataFrame(columns, geometry=[line], crs=grid.crs_wkt)
        run["siting"] = {"crossing": crossing.split(maxsplit=1)[0]}
    run_file = write_run(folder, dem.astype(np.float32), grid, run=run, features=features)
    out = run_file.with_suffix(".gpkg")
    make_plan(load_run_file(run_file), out, Progress())
    return out


@pytest.fixture(scope="session")
def plan_file_with(tmp_path_factory: pytest.TempPathFactory) -> PlanFileOf:
    """Plan by the kind of crossing of its track; "" for no track."""
    return cache(
        lambda kind: made_plan(tmp_path_factory.mktemp(kind.replace(" ", "-") or "plane"), kind)
    )


@pytest.fixture(scope="session")
def plan_file(plan_file_with: PlanFileOf) -> Path:
    return plan_file_with("")


@pytest.fixture(scope="session")
def pointed_file(plan: SetOutPlan, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The plan with a pond, a basin and a pit chosen on each of its first two swales."""
    kinds = {"pond": 0.25, "basin": 0.5, "organic_pit": 0.75}
    lips = [shapely.LineString(swale.lip) for swale in plan.swales[:2]]
    places = [lip.interpolate(share, normalized=True) for lip in lips for share in kinds.values()]
    points = gpd.GeoDataFrame({"kind": [*kinds] * 2}, geometry=places, crs=plan.crs_wkt)
    return made_plan(tmp_path_factory.mktemp("pointed"), swale_points=points)


@pytest.fixture(scope="session")
def pointed(pointed_file: Path) -> SetOutPlan:
    return read_setout(pointed_file)


@pytest.fixture(scope="session")
def plan(plan_file: Path) -> SetOutPlan:
    return read_setout(plan_file)
