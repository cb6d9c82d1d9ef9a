"""Plans of one small valley that differ in one thing each, and copies with things changed."""

import io
import shutil
import sqlite3
from collections.abc import Callable, Mapping
from contextlib import closing
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio
from shapely import box

from soakline.outputs.columns import LAYERS
from soakline.runfile.load import load_run_file
from soakline.stages.plan import make_plan
from soakline.stages.progress import Progress
from tests.terrain_analytic.ground import CENTRE_EASTING_M, CENTRE_NORTHING_M, sample, v_valley
from tests.terrain_analytic.run_folder import DEFAULT_RAIN, write_run

Change = Callable[[pd.DataFrame], pd.DataFrame]

SETTINGS = {
    # A trench of its own size would grow with the rain: fixed, the plans differ in water alone.
    # It takes 71 h to empty, so that each swale drains slowly.
    "section": {"base_width_m": 1.5, "depth_m": 0.5, "max_drain_h": 48.0},
    # The cover bears what runs over the sills in any of the rains.
    "overflow": {"sill_head_m": 0.085, "cover": "bermudagrass"},
}


def times(rain: str, factor: float) -> str:
    """A rain table with every depth multiplied."""
    table = pd.read_csv(io.StringIO(rain))
    table.iloc[:, 1:] = (table.iloc[:, 1:] * factor).round(3)
    return table.to_csv(index=False)


def make_plans(folder: Path) -> dict[str, Path]:
    """Plan a valley four times; both sides carry a swale at 409 m and one at 401 m below it.

    Returns
    -------
    usual : S001 west and S002 east at the higher level spill to S003 and S004 below them, and
        those to the drainage line; all four spill in the design storm and drain slowly
    wetter : the same with 1.3 times the rain
    drier : the same with 0.35 times the rain: no swale spills in the design storm
    without_first : the same, S001's ground forbidden, so that all other ids move on
    """
    dem, grid = sample(v_valley(8.0, 2.0), width_m=290.0)
    run_file = write_run(folder, dem, grid, run=SETTINGS)
    text = run_file.read_text(encoding="utf-8")
    west_side = box(
        CENTRE_EASTING_M - 150,
        CENTRE_NORTHING_M - 150,
        CENTRE_EASTING_M - 70,
        CENTRE_NORTHING_M + 150,
    )
    forbidden = gpd.GeoDataFrame({"name": ["west"]}, geometry=[west_side], crs=grid.crs_wkt)
    forbidden.to_file(folder / "features.gpkg", layer="no_swales")
    for name, factor in (("wetter", 1.3), ("drier", 0.35)):
        (folder / f"{name}.csv").write_text(times(DEFAULT_RAIN, factor), encoding="utf-8")
    runs = {
        "usual": text,
        "wetter": text.replace('"rain.csv"', '"wetter.csv"'),
        "drier": text.replace('"rain.csv"', '"drier.csv"'),
        "without_first": text.replace(
            'boundary = "boundary.gpkg"', 'boundary = "boundary.gpkg"\nfeatures = "features.gpkg"'
        ),
    }
    plans = {}
    for name, run in runs.items():
        file = folder / f"{name}.toml"
        file.write_text(run, encoding="utf-8")
        plans[name] = file.with_suffix(".gpkg")
        make_plan(load_run_file(file), plans[name], Progress())
    return plans


def changed_copy(plan: Path, out: Path, changes: Mapping[str, Change]) -> Path:
    """Copy a plan and write some of its layers anew.

    Parameters
    ----------
    plan : as it was
    out : the copy
    changes : layer to a function from its frame to the changed frame
    """
    shutil.copyfile(plan, out)
    kinds = dict(pyogrio.list_layers(plan))
    with closing(sqlite3.connect(out)) as database:
        # GDAL writes no table that a view looks at.
        for (view,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'view'"):
            database.execute(f'DROP VIEW "{view}"')
            database.execute("DELETE FROM gpkg_geometry_columns WHERE table_name = ?", (view,))
            database.execute("DELETE FROM gpkg_contents WHERE table_name = ?", (view,))
        database.commit()
    for name, change in changes.items():
        frame = change(pyogrio.read_dataframe(plan, layer=name))
        geometry = {} if kinds[name] is None else {"geometry_type": kinds[name]}
        pyogrio.write_dataframe(frame, out, layer=name, **geometry)
    return out


def in_another_crs(plan: Path, out: Path, crs: str) -> Path:
    """Copy a plan with all its layers in another CRS."""
    layers = [schema.name for schema in LAYERS if schema.geometry]
    return changed_copy(plan, out, dict.fromkeys(layers, lambda frame: frame.to_crs(crs)))


def setting(column: str, value: object, **where: str) -> Change:
    """A change that sets one column, of the rows that have given values."""

    def change(frame: pd.DataFrame) -> pd.DataFrame:
        rows = pd.Series(True, frame.index)
        for name, wanted in where.items():
            rows &= frame[name] == wanted
        assert rows.any(), f"no row with {where}"
        changed = frame.copy()
        changed.loc[rows, column] = value
        return changed

    return change


def without(**where: str) -> Change:
    """A change that takes the rows away that have given values; all rows if none are given."""

    def change(frame: pd.DataFrame) -> pd.DataFrame:
        rows = pd.Series(True, frame.index)
        for name, wanted in where.items():
            rows &= frame[name] == wanted
        assert rows.any(), f"no row with {where}"
        return frame[~rows]

    return change
