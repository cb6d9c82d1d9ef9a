"""Plans of all grounds hold what `soakline verify` measures, and each seeded fault is found."""

# ruff: noqa: S608 - the statements are this module's own

import shutil
import sqlite3
import struct
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely
from shapely import affinity

from soakline import __version__
from soakline.problems import InputRefused
from soakline.runfile.load import load_run_file
from soakline.stages.plan import make_plan
from soakline.stages.progress import Progress
from soakline.verify.plan import verify_plan
from tests.plans.grounds import FORMS, REAL, PlanGround
from tests.terrain_analytic.ground import (
    CENTRE_EASTING_M,
    CENTRE_NORTHING_M,
    Height,
    plane,
    sample,
)
from tests.terrain_analytic.run_folder import write_run

pytestmark = pytest.mark.slow

FIXTURES = Path(__file__).parents[2] / "fixtures"

Shape = Callable[[shapely.Geometry], shapely.Geometry]


def failing(path: Path) -> set[str]:
    return {line.what for line in verify_plan(path, (), __version__) if line.holds is False}


@pytest.mark.parametrize("name", [*FORMS, *REAL])
def test_every_plan_holds(plan_ground: PlanGround, name: str) -> None:
    assert failing(plan_ground(name).path) == set()


def test_the_demonstration_holds(tmp_path: Path) -> None:
    run_file = load_run_file(FIXTURES / "demo" / "demo.toml")
    path = make_plan(run_file, tmp_path / "demo.gpkg", Progress()).path
    # Beside its own elevation, though not beside its DEM.
    assert failing(path) == set()


@pytest.mark.parametrize(
    ("form", "size_m", "cell_m", "run"),
    [
        (plane(40.0), 300.0, 1.0, {}),
        (plane(6.0), 960.0, 12.0, {}),
        (
            plane(2.0),
            400.0,
            2.0,
            {"spacing": {"rule": "width-ratio", "max_spacing_m": 30.0}, "rain": {"annual_mm": 300}},
        ),
    ],
    ids=["too steep for any swale", "cells too large for pegs", "levels between a rule's own"],
)
def test_plans_that_lack_something_hold_too(
    tmp_path: Path, form: Height, size_m: float, cell_m: float, run: dict[str, object]
) -> None:
    dem, grid = sample(form, width_m=size_m, cell_m=cell_m)
    file = write_run(tmp_path, dem, grid, run=run)
    path = make_plan(load_run_file(file), tmp_path / "plan.gpkg", Progress()).path
    assert failing(path) == set()


@pytest.mark.parametrize("seed", range(4))
def test_catchments_of_short_swales_on_noise_are_measured_as_they_are(
    tmp_path: Path, seed: int
) -> None:
    """Survey noise on a plane: a short swale's catchment hangs on a cell and some millimetres."""
    dem, grid = sample(plane(5.0), width_m=400.0, cell_m=2.0)
    dem += np.random.default_rng(seed).normal(0.0, 0.04, dem.shape).astype(dem.dtype)
    run = {"spacing": {"mature_tree_height_m": 2.0}, "siting": {"max_length_m": 50.0}}
    file = write_run(tmp_path, dem, grid, run=run)
    path = make_plan(load_run_file(file), tmp_path / "plan.gpkg", Progress()).path
    assert failing(path) == set()


def test_a_plan_with_no_way_for_water_holds_too(tmp_path: Path) -> None:
    """The one swale's water could only run through ground that it must keep off."""
    dem, grid = sample(plane(6.0), width_m=200.0)
    lip = shapely.LineString(
        [(CENTRE_EASTING_M + east, CENTRE_NORTHING_M) for east in (40.0, -40.0)]
    )
    below = shapely.box(*affinity.translate(lip, 0.0, -12.0).buffer(9.0).bounds)
    features = {
        name: gpd.GeoDataFrame({"name": ["it"]}, geometry=[shape], crs=grid.crs_wkt)
        for name, shape in (("given_swales", lip), ("protected", below))
    }
    run = {"spacing": {"mature_tree_height_m": 90.0}, "siting": {"min_length_m": 90.0}}
    file = write_run(tmp_path, dem, grid, features=features, run=run)
    path = make_plan(load_run_file(file), tmp_path / "plan.gpkg", Progress()).path
    assert len(pyogrio.read_dataframe(path, layer="swales")) == 1
    assert len(pyogrio.read_dataframe(path, layer="overflow_routes")) == 0
    assert failing(path) == set()


@pytest.mark.parametrize(("velocity_ms", "holds"), [(0.0, True), (0.3, False)])
def test_a_way_that_no_check_storm_wets_has_no_velocity(
    plan_ground: PlanGround, tmp_path: Path, velocity_ms: float, holds: bool
) -> None:
    path = tmp_path / "dry.gpkg"
    shutil.copy(plan_ground("plane").path, path)
    copy = Copy(path)
    with closing(copy.base), copy.base:
        copy.sql(
            "UPDATE spillways SET peak_m3s = 0",
            f"UPDATE overflow_routes SET peak_m3s = 0, velocity_ms = {velocity_ms}",
        )
    line = "velocity_ms by Manning in the ground's profile"
    assert (line not in failing(path)) is holds


class Copy:
    """A copy of a plan that is changed by hand, as another program would: indexes follow."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.base = sqlite3.connect(path)
        # What the standard's triggers call on every change of a geometry.
        for name, part in (("MinX", 0), ("MinY", 1), ("MaxX", 2), ("MaxY", 3)):
            self.base.create_function(f"ST_{name}", 1, lambda b, i=part: float(_shape(b).bounds[i]))
        self.base.create_function("ST_IsEmpty", 1, lambda b: b is None or _shape(b).is_empty)

    def sql(self, *statements: str) -> None:
        for statement in statements:
            self.base.execute(statement)

    def first(self, query: str) -> str:
        return str(self.base.execute(query).fetchone()[0])

    def move(self, table: str, where: str, change: Shape) -> None:
        query = f"SELECT fid, geom FROM {table} WHERE {where} ORDER BY fid LIMIT 1"
        fid, blob = self.base.execute(query).fetchone()
        body = shapely.to_wkb(change(_shape(blob)), flavor="iso")
        new = b"GP\0\1" + blob[4:8] + body
        self.base.execute(f"UPDATE {table} SET geom = ? WHERE fid = ?", (new, fid))


def _shape(blob: bytes) -> shapely.Geometry:
    return shapely.from_wkb(blob[8 + {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}[blob[3] >> 1 & 7] :])


def vertex(number: int, rise_m: float) -> Shape:
    """One vertex of a line, raised."""

    def change(line: shapely.Geometry) -> shapely.Geometry:
        places = [list(place) for place in line.coords]
        places[number][2] += rise_m
        return shapely.LineString(places)

    return change


def aside(east_m: float, north_m: float, rise_m: float = 0.0) -> Shape:
    return lambda shape: affinity.translate(shape, east_m, north_m, rise_m)


def ring(copy: Copy) -> None:
    for one, other in (("S001", "S002"), ("S002", "S001")):
        copy.sql(
            f"UPDATE overflow_routes SET to_kind = 'swale', to_id = '{other}' "
            f"WHERE swale_id = '{one}'"
        )


SOME = "swale_id = 'S002'"
FAULTS: dict[str, tuple[Callable[[Copy], None], set[str]]] = {
    "raised vertex": (
        lambda c: c.move("swales", SOME, vertex(1, 0.05)),
        {"lip dead level at every vertex"},
    ),
    "lip turned round": (
        lambda c: c.move("swales", SOME, shapely.reverse),
        {
            "uphill side on the left",
            "peg on its lip at its chainage",
            "cut_m3 by average end area along the pegs",
        },
    ),
    "length of a lip": (
        lambda c: c.sql(f"UPDATE pegs SET chainage_m = chainage_m + 0.5 WHERE {SOME}"),
        {"peg on its lip at its chainage"},
    ),
    "ground figure": (
        lambda c: c.sql(f"UPDATE swales SET ground_rms_m = ground_rms_m + 0.05 WHERE {SOME}"),
        {"ground_rms_m as measured"},
    ),
    "moved spillway": (
        lambda c: c.move("spillways", SOME, aside(0.0, 3.0)),
        {"spillway on its swale's lip", "route starts on its spillway"},
    ),
    "raised spillway": (
        lambda c: c.move("spillways", SOME, aside(0.0, 0.0, 0.2)),
        {"spillway's height is sill_level_m", "route starts on its spillway"},
    ),
    "sill too low": (
        lambda c: c.sql(f"UPDATE spillways SET sill_level_m = sill_level_m - 0.05 WHERE {SOME}"),
        {"sill at the lip's level", "spillway's height is sill_level_m"},
    ),
    "sill head": (
        lambda c: c.sql(f"UPDATE spillways SET check_head_m = check_head_m * 0.9 WHERE {SOME}"),
        {"peak over the sill, Q = C L h^1.5"},
    ),
    "lost budget term": (
        lambda c: c.sql(f"UPDATE swale_storms SET infiltrated_m3 = 0 WHERE {SOME}"),
        {"inflow = stored + soaked + spilled"},
    ),
    "lost runoff": (
        lambda c: c.sql(f"UPDATE swale_catchments SET runoff_m3 = runoff_m3 / 2 WHERE {SOME}"),
        {"runoff_m3 = runoff_mm × dry ground", "runoff_m3 is that of the governing storm"},
    ),
    "missing storm": (
        lambda c: c.sql(
            f"DELETE FROM swale_storms WHERE fid = (SELECT fid FROM swale_storms WHERE {SOME} "
            "AND overflow_m3 = 0 LIMIT 1)"
        ),
        {"every swale in every storm once"},
    ),
    "freeboard": (
        lambda c: c.sql(f"UPDATE swales SET freeboard_m = freeboard_m + 0.1 WHERE {SOME}"),
        {"freeboard_m of swales is the least of check storms"},
    ),
    "emptying": (
        lambda c: c.sql(f"UPDATE swales SET drain_down_h = drain_down_h / 2 WHERE {SOME}"),
        {"drain_down_h by soaking of the wetted ground"},
    ),
    "route uphill": (
        lambda c: c.move("overflow_routes", SOME, vertex(1, 50.0)),
        {"route never rises"},
    ),
    "route to nowhere": (
        lambda c: c.sql(
            "UPDATE overflow_routes SET to_id = 'S001' WHERE fid = (SELECT fid FROM "
            "overflow_routes WHERE to_kind <> 'swale' LIMIT 1)"
        ),
        {"route ends on what to_id names"},
    ),
    "ring in the graph": (
        ring,
        {
            "no circle of swales",
            "route ends on what to_id names",
            "received = what swales above spill, by sill length",
        },
    ),
    "route lost": (
        lambda c: c.sql("DELETE FROM overflow_routes WHERE fid = (SELECT max(fid) FROM "
                        "overflow_routes)"),
        {
            "every spillway has a route",
            "finding no_safe_end for every swale without a safe end",
        },
    ),
    "lining lost": (
        lambda c: c.sql("UPDATE overflow_routes SET velocity_ms = permissible_ms + 1, "
                        "lining = NULL WHERE fid = 1"),
        {
            "lining where velocity exceeds permissible",
            "velocity_ms by Manning in the ground's profile",
        },
    ),
    "grass where lining is needed": (
        lambda c: c.sql("UPDATE overflow_routes SET velocity_ms = permissible_ms + 1, "
                        "lining = 'grass' WHERE fid = 1"),
        {
            "lining where velocity exceeds permissible",
            "velocity_ms by Manning in the ground's profile",
        },
    ),
    "velocity": (
        lambda c: c.sql("UPDATE overflow_routes SET velocity_ms = velocity_ms * 0.95 "
                        "WHERE fid = 1"),
        {"velocity_ms by Manning in the ground's profile"},
    ),
    "slope of a route": (
        lambda c: c.sql("UPDATE overflow_routes SET max_slope_pct = max_slope_pct - 0.5 "
                        "WHERE fid = 1"),
        {"max_slope_pct as measured"},
    ),
    "curve number": (
        lambda c: c.sql("UPDATE run_record SET value = 'CurveNumber(number=73.0)' "
                        "WHERE key LIKE 'ground:%'"),
        {"runoff_m3 by the curve numbers on record"},
    ),
    "allowed ground": (
        lambda c: c.sql("UPDATE run_record SET value = value * 0.9 WHERE key = 'allowed_m2'"),
        {"allowed and excluded ground make up the property"},
    ),
    "excluded twice": (
        lambda c: c.sql("INSERT INTO excluded_ground (geom, reason, area_m2) SELECT geom, "
                        "'saline', area_m2 FROM excluded_ground WHERE reason = 'boundary'"),
        {
            "excluded ground has each place once",
            "allowed and excluded ground make up the property",
        },
    ),
    "cut a little off": (
        lambda c: c.sql(
            "UPDATE swales SET cut_m3 = cut_m3 * 1.05, fill_m3 = fill_m3 * 1.05 WHERE " + SOME
        ),
        {"cut_m3 by average end area along the pegs", "amounts are the sums of the layers"},
    ),
    "catchment a fifth too small": (
        lambda c: c.move("swale_catchments", SOME, lambda s: affinity.scale(s, 0.8, 1.0)),
        {
            "ground that pyflwdir leads elsewhere",
            "area of all, by pyflwdir",
            "area_m2 is that of the polygon",
            "disjoint",
        },
    ),
    "catchments of each other": (
        lambda c: c.sql("UPDATE swale_catchments SET swale_id = CASE swale_id WHEN 'S001' THEN "
                        "'S002' ELSE 'S001' END WHERE swale_id IN ('S001', 'S002')"),
        {"ground that pyflwdir leads elsewhere"},
    ),
    "needless finding": (
        lambda c: c.sql("INSERT INTO findings (code, severity, layer, feature_id, message) "
                        "VALUES ('no_safe_end', 'stop', 'swales', 'S001', 'none')"),
        {"finding no_safe_end for every swale without a safe end"},
    ),
    "id twice": (
        lambda c: c.sql("UPDATE pegs SET peg_id = (SELECT peg_id FROM pegs WHERE fid = 1) "
                        "WHERE fid = 2"),
        {"ids stand once each"},
    ),
    "id of no swale": (
        lambda c: c.sql("UPDATE trees SET swale_id = 'S999' WHERE fid = 1"),
        {"swale_id names a swale of the plan", "tree in its band"},
    ),
    "peg level": (
        lambda c: c.sql("UPDATE pegs SET level_m = level_m + 0.1, base_level_m = base_level_m + "
                        "0.1, cut_m = cut_m - 0.1 WHERE fid = 2"),
        {"peg's level_m and height are the lip's"},
    ),
    "peg ground": (
        lambda c: c.sql("UPDATE pegs SET ground_m = ground_m + 0.03, cut_m = cut_m + 0.03 "
                        "WHERE fid = 2"),
        {"ground_m is the DEM's ground"},
    ),
    "peg cut": (
        lambda c: c.sql("UPDATE pegs SET cut_m = cut_m + 0.1 WHERE fid = 3"),
        {"cut_m = ground_m − base_level_m"},
    ),
    "peg off its lip": (
        lambda c: c.move("pegs", "kind = 'start'", aside(0.05, 0.05)),
        {"peg on its lip at its chainage"},
    ),
    "capacity": (
        lambda c: c.sql(f"UPDATE swales SET capacity_m3 = capacity_m3 * 1.05 WHERE {SOME}"),
        {"capacity_m3 by the section, ends battered"},
    ),
    "cut": (
        lambda c: c.sql(
            "UPDATE swales SET cut_m3 = cut_m3 * 1.3, fill_m3 = fill_m3 * 1.3 WHERE " + SOME
        ),
        {"cut_m3 by average end area along the pegs", "amounts are the sums of the layers"},
    ),
    "high face": (
        lambda c: c.sql(f"UPDATE swales SET face_height_m = 1.3 WHERE {SOME}"),
        {"mound off the lip where the cut face is over 1.2 m"},
    ),
    "quantity": (
        lambda c: c.sql("UPDATE quantities SET amount = amount * 1.01 WHERE item = 'lip'"),
        {"amounts are the sums of the layers"},
    ),
    "catchment moved": (
        lambda c: c.move("swale_catchments", SOME, aside(0.0, 2000.0)),
        {"ground that pyflwdir leads elsewhere"},
    ),
    "catchment area": (
        lambda c: c.sql(f"UPDATE swales SET catchment_m2 = catchment_m2 + 50 WHERE {SOME}"),
        {"catchment_m2 of swales is the same"},
    ),
    "tree off its band": (
        lambda c: c.move("trees", "band = 'mound'", aside(0.0, 2000.0)),
        {"tree in its band", "trees within the property"},
    ),
    "overlapping footprint": (
        lambda c: c.move("swale_ground", "part = 'mound'", aside(0.0, 1.0)),
        {"parts of footprints do not overlap"},
    ),
    "slope class lost": (
        lambda c: c.sql("DELETE FROM slope_classes WHERE fid = 1"),
        {"slope classes make up the property once"},
    ),
    "wrong srs": (
        lambda c: c.sql("UPDATE gpkg_geometry_columns SET srs_id = 4326 WHERE table_name = 'pegs'"),
        {
            "requirement 12, 16, 146 srs_id known and alike",
            "requirements 19, 33 geometries fit their columns",
            "one projected reference system",
        },
    ),
    "broken R-tree": (
        lambda c: c.sql("DELETE FROM rtree_pegs_geom WHERE id = 3"),
        {"requirements 75, 77 R-trees hold every feature's bounds"},
    ),
    "wrong version mark": (
        lambda c: c.sql("PRAGMA user_version = 10200"),
        {"requirements 1, 2 marks of version 1.3"},
    ),
    "time without zone": (
        lambda c: c.sql("UPDATE gpkg_contents SET last_change = '2026' WHERE table_name = 'pegs'"),
        {"requirement 15 times of contents"},
    ),
    "dropped column": (
        lambda c: c.sql("ALTER TABLE drainage_lines RENAME COLUMN order_strahler TO strahler"),
        {"columns of every layer and table", "requirement 103, 105 described columns exist"},
    ),
}  # fmt: skip


@pytest.fixture
def copy(plan_ground: PlanGround, tmp_path: Path) -> Path:
    plan = plan_ground("valley").path
    shutil.copy(plan.with_name("dem.tif"), tmp_path)
    return Path(shutil.copy(plan, tmp_path / "plan.gpkg"))


@pytest.mark.parametrize("fault", FAULTS)
def test_a_seeded_fault_is_found_on_its_own_line(copy: Path, fault: str) -> None:
    seed, expected = FAULTS[fault]
    changed = Copy(copy)
    with closing(changed.base), changed.base:
        seed(changed)
    assert failing(copy) == expected


def test_a_setback_that_is_not_kept_is_found(plan_ground: PlanGround, tmp_path: Path) -> None:
    plan = plan_ground("plane, homestead").path
    for name in ("dem.tif", "features.gpkg"):
        shutil.copy(plan.with_name(name), tmp_path)
    copied = Path(shutil.copy(plan, tmp_path / "plan.gpkg"))
    with closing(sqlite3.connect(copied)) as base, base:
        base.execute("UPDATE run_record SET value = '60' WHERE key = 'siting.setback_m.building'")
    assert failing(copied) == {"setback from buildings of the features file"}
    (tmp_path / "features.gpkg").write_bytes(b"")
    assert failing(copied) == set()
    told = [line.found for line in verify_plan(copied, (), __version__) if line.holds is None]
    assert any("other SHA-256" in found for found in told)


def refusal(path: Path, *dem: Path) -> str:
    with pytest.raises(InputRefused) as refused:
        verify_plan(path, dem, __version__)
    assert len(refused.value.problems) == 1
    return str(refused.value)


def test_what_is_no_plan_of_this_version_is_refused(copy: Path, tmp_path: Path) -> None:
    text = tmp_path / "text.gpkg"
    text.write_text("no GeoPackage", encoding="utf-8")
    assert "not a GeoPackage" in refusal(text)
    assert "no such file" in refusal(tmp_path / "nothing.gpkg")
    assert "another program" in refusal(copy.parent / _other(tmp_path))
    for version, word in (("0.0.1", "an older version"), ("99.0", "a newer version")):
        with closing(sqlite3.connect(copy)) as base, base:
            base.execute("UPDATE run_record SET value = ? WHERE key = 'version'", (version,))
        assert word in refusal(copy)


def _other(folder: Path) -> str:
    with closing(sqlite3.connect(folder / "other.gpkg")) as base, base:
        base.execute(f"PRAGMA application_id = {struct.unpack('>I', b'GPKG')[0]}")
        base.execute("CREATE TABLE roads (fid INTEGER PRIMARY KEY)")
    return "other.gpkg"


def test_missing_layers_are_named(copy: Path) -> None:
    with closing(sqlite3.connect(copy)) as base, base:
        base.execute("DROP TABLE storms")
    assert "no layer or table storms" in refusal(copy)


def test_a_plan_still_being_written_is_refused(copy: Path) -> None:
    with closing(sqlite3.connect(copy)) as base:
        base.execute("BEGIN EXCLUSIVE")
        assert "still being written" in refusal(copy)


def test_another_dem_or_none_is_refused(copy: Path, tmp_path: Path) -> None:
    dem = tmp_path / "dem.tif"
    assert "no such file" in refusal(copy, tmp_path / "other.tif")
    dem.write_bytes(dem.read_bytes() + b"\0")
    assert "other SHA-256" in refusal(copy)
    dem.unlink()
    # The plan's own elevation stands in for it.
    assert failing(copy) == set()
