"""A good run folder with a finished plan: what is spoilt."""

import shutil
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely

from soakline.runfile.load import load_run_file
from soakline.stages.plan import make_plan
from soakline.stages.progress import Progress
from tests.terrain_analytic.ground import CENTRE_EASTING_M, CENTRE_NORTHING_M, plane, sample
from tests.terrain_analytic.run_folder import write_run


def make_folder(folder: Path) -> Path:
    """Write run.toml, dem.tif, boundary.gpkg, features.gpkg, rain.csv, plan.gpkg, good.gpkg."""
    dem, grid = sample(plane(8.0, 180.0), width_m=160.0)
    house = shapely.Point(CENTRE_EASTING_M, CENTRE_NORTHING_M).buffer(4.0)
    track = shapely.LineString(
        [
            (CENTRE_EASTING_M + 20, CENTRE_NORTHING_M + 75),
            (CENTRE_EASTING_M + 20, CENTRE_NORTHING_M - 75),
        ]
    )
    features = {
        "buildings": gpd.GeoDataFrame({"name": ["house"]}, geometry=[house]),
        "tracks": gpd.GeoDataFrame({"name": ["up"], "width_m": [3.0]}, geometry=[track]),
        "safe_points": gpd.GeoDataFrame(
            {"name": ["dam"], "kind": ["dam"], "accepts_m3": [500.0]},
            geometry=[shapely.Point(CENTRE_EASTING_M - 40, CENTRE_NORTHING_M - 60)],
        ),
    }
    settings = {
        "spacing": {"mature_tree_height_m": 4.0},
        "property": {"benchmark": {"easting": 600_010.0, "northing": 6e6, "level_m": 401.25}},
    }
    run = write_run(folder, dem.astype(np.float32), grid, features=features, run=settings)
    make_plan(load_run_file(run), folder / "plan.gpkg", Progress())
    shutil.copy(folder / "plan.gpkg", folder / "good.gpkg")
    for beside in folder.iterdir():
        if beside.is_dir():
            shutil.rmtree(beside)
        elif beside.name not in (
            "run.toml",
            "dem.tif",
            "boundary.gpkg",
            "features.gpkg",
            "rain.csv",
            "plan.gpkg",
            "good.gpkg",
        ):
            beside.unlink()
    return folder
