"""A plan made again with other rain: from the store it is what a cold run would give."""

import sqlite3
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely

from soakline.problems import InputRefused
from soakline.runfile.load import load_run_file
from soakline.stages.plan import make_plan
from soakline.stages.progress import Progress
from soakline.store.stage_store import StageStore
from tests.terrain_analytic.ground import CENTRE_EASTING_M, CENTRE_NORTHING_M, ring_hill, sample
from tests.terrain_analytic.run_folder import DEFAULT_RAIN, write_run

pytestmark = pytest.mark.slow

_OF_ONE_RUN = ("started", "finished", "timing_", "host_")


def more_rain(factor: float) -> str:
    """The usual table with every depth changed by a factor."""
    head, *rows = DEFAULT_RAIN.splitlines()
    cells = [row.split(",") for row in rows]
    more = [",".join([own[0], *(f"{factor * float(d):.3f}" for d in own[1:])]) for own in cells]
    return "\n".join([head, *more]) + "\n"


def tables_of(plan: Path) -> dict[str, list[tuple[object, ...]]]:
    """Every table as it stands in the file, what tells of one run only left out."""
    with sqlite3.connect(plan) as base:
        names = [name for (name,) in base.execute("SELECT table_name FROM gpkg_contents")]
        found = {
            name: base.execute(f'SELECT * FROM "{name}"').fetchall()  # noqa: S608 - names of its own
            for name in names
        }
    found["run_record"] = [
        row for row in found["run_record"] if not str(row[1]).startswith(_OF_ONE_RUN)
    ]
    return found


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A knoll with a ring round it, whose opening depends on the rain; two rain tables."""
    place = tmp_path_factory.mktemp("rain")
    dem, grid = sample(ring_hill(12.0, 60.0, 4.0), width_m=400.0, noise_m=0.03)
    write_run(place, dem, grid)
    (place / "more.csv").write_text(more_rain(1.4))
    (place / "less.csv").write_text(more_rain(0.5))
    return place


def planned(folder: Path, rain: str, store: StageStore | None, name: str) -> Path:
    run = load_run_file(folder / "run.toml")
    out = folder / f"{name}.gpkg"
    make_plan(run, out, Progress(), rain_table=folder / rain, store=store)
    return out


def store_in(folder: Path) -> StageStore:
    return StageStore(folder / "work", 1.0, False, pytest.fail)


def test_a_rerun_gives_what_a_cold_run_gives(folder: Path) -> None:
    planned(folder, "rain.csv", store_in(folder), "first")
    for rain in ("more.csv", "less.csv"):
        store = store_in(folder)
        again = tables_of(planned(folder, rain, store, "again"))
        assert again == tables_of(planned(folder, rain, None, "cold"))
        assert {"reading", "terrain", "excluded ground", "lines", "land layers"} <= set(
            store.loaded
        )
        assert set(store.made) <= {"catchments"}  # made anew where a ring is opened wider


def test_the_record_tells_how_long_rasters_were_copied(folder: Path) -> None:
    plan = planned(folder, "rain.csv", store_in(folder), "copied")
    with sqlite3.connect(plan) as base:
        record = dict(base.execute("SELECT key, value FROM run_record").fetchall())
    assert 0.0 < float(record["timing_copying rasters_s"]) < 60.0


def test_more_rain_lowers_no_inflow_spill_or_peak_of_a_given_plan(tmp_path: Path) -> None:
    """Sections given, so that they do not grow with the rain; ways stay on this even ground."""
    dem, grid = sample(ring_hill(12.0, 60.0, 4.0), width_m=300.0)
    given = {"section": {"base_width_m": 1.5, "depth_m": 0.4}}
    write_run(tmp_path, dem, grid, run=given, rain=more_rain(1.0))
    (tmp_path / "more.csv").write_text(more_rain(1.2))
    tables = []
    for name in ("rain.csv", "more.csv"):
        plan = planned(tmp_path, name, None, name[:-4])
        own = pyogrio.read_dataframe(plan, layer="swale_storms", read_geometry=False)
        tables.append(own.set_index(["swale_id", "storm_id"]))
    base, more = tables
    for name in ("inflow_m3", "overflow_m3", "peak_spill_m3s", "received_m3"):
        assert np.all(more[name] >= base[name] - 1e-9), name
    assert (more.inflow_m3 > base.inflow_m3).all()


@pytest.fixture(scope="module")
def usual(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[object, ...]]:
    """What storms do to swales as they are reckoned by default."""
    place = tmp_path_factory.mktemp("usual")
    write_run(place, *sample(ring_hill(12.0, 60.0, 4.0), width_m=300.0))
    return tables_of(planned(place, "rain.csv", None, "plan"))["swale_storms"]


@pytest.mark.parametrize(
    "rain",
    [
        {"loss": "green-ampt"},
        {"time_of_concentration": "velocity"},
        {"time_of_concentration": "kirpich", "unit_hydrograph": "triangular"},
        {"pattern": "front.csv"},
        {"antecedent": "III", "uplift_pct": 10},
    ],
    ids=["green-ampt", "velocity", "kirpich, triangular", "own pattern", "wet and more"],
)
def test_every_way_to_reckon_a_storm_gives_a_plan_that_balances(
    usual: list[tuple[object, ...]], tmp_path: Path, rain: dict[str, object]
) -> None:
    dem, grid = sample(ring_hill(12.0, 60.0, 4.0), width_m=300.0)
    write_run(tmp_path, dem, grid, run={"rain": rain})
    (tmp_path / "front.csv").write_text("duration_share,cumulative_share\n0.25,0.6\n0.5,0.8\n1,1\n")
    plan = planned(tmp_path, "rain.csv", None, "plan")
    each = pyogrio.read_dataframe(plan, layer="swale_storms", read_geometry=False)
    left = each.stored_m3 + each.infiltrated_m3 + each.overflow_m3
    assert left.to_numpy() == pytest.approx(each.inflow_m3.to_numpy(), rel=1e-6, abs=1e-9)
    storms = pyogrio.read_dataframe(plan, layer="storms", read_geometry=False)
    own = {"file", "uniform"} if "pattern" in rain else {"alternating", "uniform"}
    assert set(storms.pattern) == own
    assert tables_of(plan)["swale_storms"] != usual


def square(east_m: float, north_m: float, side_m: float) -> shapely.Polygon:
    east, north = CENTRE_EASTING_M + east_m, CENTRE_NORTHING_M + north_m
    return shapely.box(east, north, east + side_m, north + side_m)


def test_cover_soil_and_roofs_are_reckoned_where_they_lie(tmp_path: Path) -> None:
    """A quarter under paving sheds more, a quarter under sand on group A sheds less."""
    dem, grid = sample(ring_hill(12.0, 60.0, 4.0), width_m=400.0)

    def layer(shape: shapely.Polygon, **columns: object) -> gpd.GeoDataFrame:
        return gpd.GeoDataFrame({k: [v] for k, v in columns.items()}, geometry=[shape])

    features = {
        "land_cover": layer(square(0.0, 0.0, 200.0), cover="paved", curve_number=np.nan),
        "soils": layer(
            square(-200.0, -200.0, 200.0), texture="sand", hydrologic_group="A", ksat_mm_h=90.0
        ),
        "hard_surfaces": layer(square(20.0, -60.0, 15.0), name="barn", swale_id=None),
    }
    run = {"land": {"cover": "pasture-fair", "hydrologic_group": "C"}}
    write_run(tmp_path / "plain", dem, grid, run=run)
    write_run(tmp_path / "drawn", dem, grid, run=run, features=features)
    depth = {}
    for name in ("plain", "drawn"):
        plan = planned(tmp_path / name, "rain.csv", None, "plan")
        own = gpd.read_file(plan, layer="swale_catchments").set_index("swale_id")
        depth[name] = own.runoff_mm
        findings = pyogrio.read_dataframe(plan, layer="findings", read_geometry=False)
    assert (depth["drawn"] > depth["plain"] + 5.0).any()
    assert (depth["drawn"] < depth["plain"] - 5.0).any()
    assert {"land_not_covered", "hard_surface_drains"} <= set(findings.code)


def test_a_bad_table_among_several_is_refused_with_its_name(folder: Path) -> None:
    (folder / "falling.csv").write_text("duration_min,10,100\n10,20,30\n60,10,40\n")
    run = load_run_file(folder / "run.toml")
    with pytest.raises(InputRefused, match=r"falling\.csv"):
        make_plan(run, folder / "none.gpkg", Progress(), rain_table=folder / "falling.csv")
    assert not (folder / "none.gpkg").exists()
