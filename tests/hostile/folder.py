"""A good run folder with a finished plan: what is spoilt."""

import shutil
import subprocess
import sys
from datetime import date, timedelta
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import shapely

from soakline import tables
from tests.terrain_analytic.ground import CENTRE_EASTING_M, CENTRE_NORTHING_M, plane, sample
from tests.terrain_analytic.run_folder import write_run

FILES = (
    "dem.tif", "boundary.gpkg", "features.gpkg", "rain.csv", "run.toml", "plan.gpkg",
    "as_built.csv", "daily.csv", "machines.csv", "months.csv", "pattern.csv", "rates.csv",
    "species.csv", "wind.csv",
)  # fmt: skip
"""What is spoilt. `daily.csv` is given to its reader alone: a run file names that or months."""


def make_folder(folder: Path) -> Path:
    """Write all `FILES`, and good.gpkg beside plan.gpkg."""
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
        "rain": {"pattern": "pattern.csv"},
        "earthworks": {"machines": "machines.csv", "rates": "rates.csv"},
        "planting": {"species": "species.csv", "wind": "wind.csv"},
        "climate": {"monthly": "months.csv", "years": 1},
    }
    _write_tables(folder)
    ground = dem.astype(np.float32)
    run = write_run(folder, ground, grid, features=features, run=settings)
    _plan(run)
    lip = pyogrio.read_dataframe(folder / "plan.gpkg", layer="swales").iloc[:1]
    given = lip[["swale_id", "level_m", "geometry"]].assign(state="built")
    name, level, length = (lip[key].iloc[0] for key in ("swale_id", "level_m", "length_m"))
    rows = [f"{name},{at:.1f},{level - 0.02:.3f}" for at in (0.0, length / 2, length - 0.1)]
    _write_table(folder / "as_built.csv", "swale_id,chainage_m,level_m", rows)
    features["given_swales"] = given
    settings["earthworks"]["as_built"] = "as_built.csv"
    run = write_run(folder, ground, grid, features=features, run=settings)
    _plan(run)
    shutil.copy(folder / "plan.gpkg", folder / "good.gpkg")
    for beside in folder.iterdir():
        if beside.is_dir():
            shutil.rmtree(beside)
        elif beside.name not in (*FILES, "good.gpkg"):
            beside.unlink()
    return folder


def _plan(run: Path) -> None:
    """Plan in another process: copies of one that has used all cores may not use them again."""
    command = ["plan", str(run), "--out", str(run.parent / "plan.gpkg"), "--quiet"]
    ran = subprocess.run(
        [sys.executable, "-m", "soakline", *command], stdout=subprocess.DEVNULL, check=False
    )
    if ran.returncode not in (0, 3):
        raise RuntimeError(f"no plan of the good folder: status {ran.returncode}")


def _write_tables(folder: Path) -> None:
    """The tables that a run file may name."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in ("machines.csv", "species.csv"):
        shutil.copy(tables.folder() / name, folder / name)
    _write_table(folder / "rates.csv", "item,unit,rate", ["cut,m3,4.5", "machine hours,h,120"])
    _write_table(folder / "wind.csv", "from_deg,share_pct", ["270,40", "0,30", "90,30"])
    pattern = ["0.25,0.2", "0.5,0.6", "0.75,0.9", "1,1"]
    _write_table(folder / "pattern.csv", "duration_share,cumulative_share", ["0,0", *pattern])
    months = [f"{month},{40 + month},5,{20 - month},{33 - month}" for month in range(1, 13)]
    _write_table(folder / "months.csv", "month,rain_mm,wet_days,tmin_c,tmax_c", months)
    first = date(2024, 1, 1)
    days = [f"{first + timedelta(k)},{(k % 9 == 0) * 12.5},8.1,21.4" for k in range(366)]
    _write_table(folder / "daily.csv", "date,rain_mm,tmin_c,tmax_c", days)


def _write_table(path: Path, head: str, rows: list[str]) -> None:
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
