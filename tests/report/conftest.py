"""One plan, its report, and the same plan with hostile words in it."""

import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely
from lxml import html

from soakline.report.files import ReportOptions, write_report
from soakline.runfile.load import load_run_file
from soakline.stages.plan import make_plan
from soakline.stages.progress import Progress
from tests.terrain_analytic.ground import CENTRE_EASTING_M, CENTRE_NORTHING_M, plane, sample
from tests.terrain_analytic.run_folder import write_run

HOSTILE = "<script>alert('1')</script>]]><img src=x onerror=\"alert(2)\">&amp;</script>"
Change = Callable[[sqlite3.Connection], object]


def changed(plan: Path, out: Path, change: Change) -> Path:
    """A copy of a plan with something changed in it."""
    shutil.copyfile(plan, out)
    with closing(sqlite3.connect(out)) as database:
        triggers = database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        for (name,) in triggers.fetchall():  # they call functions that only GDAL has
            database.execute(f'DROP TRIGGER "{name}"')
        change(database)
        database.commit()
    return out


@pytest.fixture(scope="session")
def plan_path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Swales on a plane of 8 %, with a track down the hill; DEM and run file lie beside it."""
    dem, grid = sample(plane(8.0, 180.0), width_m=240.0)
    east, north = CENTRE_EASTING_M + 13.37, CENTRE_NORTHING_M
    track = shapely.LineString([(east, north + 115.0), (east, north - 115.0)])
    columns = {"name": ["hill track"], "width_m": [4.0]}
    tracks = gpd.GeoDataFrame(columns, geometry=[track], crs=grid.crs_wkt)
    run_file = write_run(
        tmp_path_factory.mktemp("reported"),
        dem.astype(np.float32),
        grid,
        run={"spacing": {"mature_tree_height_m": 3.0}, "siting": {"crossing": "ford"}},
        features={"tracks": tracks},
    )
    out = run_file.with_suffix(".gpkg")
    make_plan(load_run_file(run_file), out, Progress())
    return out


@pytest.fixture(scope="session")
def report_path(plan_path: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("report") / "report.html"
    assert write_report(plan_path, ReportOptions(out)) == (out,)
    return out


@pytest.fixture(scope="session")
def page(report_path: Path) -> html.HtmlElement:
    return html.fromstring(report_path.read_text(encoding="utf-8"))


def hostile_words(database: sqlite3.Connection) -> None:
    """Put markup into every word that a report shows."""
    word = HOSTILE.replace("'", "''")
    for table, column in (
        ("property", "name"), ("safe_points", "name"), ("crossings", "track"),
        ("findings", "message"), ("findings", "advice"), ("quantities", "item"),
        ("excluded_ground", "reason"), ("storms", "frequency"), ("spillways", "lining"),
    ):  # fmt: skip
        database.execute(f"UPDATE {table} SET {column} = '{word}'")
    for table in ("swales", "pegs", "spillways", "overflow_routes", "swale_storms", "crossings"):
        database.execute(f"UPDATE {table} SET swale_id = swale_id || '{word}'")
    database.execute(
        f"UPDATE overflow_routes SET to_id = to_id || '{word}' WHERE to_kind = 'swale'"
    )
    database.execute(f"UPDATE run_record SET value = '{word}' WHERE key = 'run_file_text'")


@pytest.fixture(scope="session")
def hostile_path(plan_path: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("hostile")
    plan = changed(plan_path, folder / "plan.gpkg", hostile_words)
    write_report(plan, ReportOptions())
    return folder / "plan.html"
