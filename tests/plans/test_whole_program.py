"""`soakline plan` as a user runs it, from the run folder to the files it leaves."""

import hashlib
import json
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import fiona
import geopandas as gpd
import pandas as pd
import pyogrio
import pytest
import shapely

from soakline.outputs.columns import LAYERS
from soakline.outputs.geopackage_styles import STYLE_FILE
from soakline.outputs.raster_schemas import RASTERS
from soakline.runfile.load import load_run_file
from soakline.stages.plan import make_plan
from soakline.stages.progress import Event, Progress
from tests.commands.running import run_anew
from tests.plans.content import content
from tests.plans.grounds import PlanGround
from tests.terrain_analytic.ground import plane, sample, v_valley
from tests.terrain_analytic.run_folder import write_run

pytestmark = pytest.mark.slow


def run_folder(folder: Path, width_m: float = 200.0, **changes: object) -> Path:
    dem, grid = sample(v_valley(8.0, 2.0, rounding_m=5.0), width_m=width_m)
    return write_run(folder, dem, grid, **changes)  # type: ignore[arg-type]


def test_stdout_is_the_plan_s_path_and_nothing_of_a_library(tmp_path: Path) -> None:
    """Richdem prints progress and escape codes to both streams: none of it may be seen."""
    run = run_folder(tmp_path)
    arguments = ["plan", run.name, "--log", "log.jsonl", "--map", "map.png"]
    status, stdout, stderr = run_anew(tmp_path, arguments)
    assert status == 0, stderr
    assert [tmp_path / line for line in stdout.splitlines()] == [tmp_path / "run.gpkg"]
    assert "\x1b" not in stdout + stderr
    # Richdem heads its lines with letters of its own: A algorithm, C citation, p progress, t time.
    assert not [line for line in stderr.splitlines() if line[:2] in {"A ", "C ", "c ", "p ", "t "}]
    told = [json.loads(line) for line in (tmp_path / "log.jsonl").read_text().splitlines()]
    finished = [event["stage"] for event in told if event["event"] == "finished"]
    assert finished[0] == "reading"
    assert finished[-2:] == ["map", "writing"]
    assert len(finished) == len(set(finished)) >= 5
    assert (tmp_path / "map.png").read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    left = {path.name for path in tmp_path.iterdir()}
    inputs = {"boundary.gpkg", "dem.tif", "rain.csv", "run.toml"}
    beside = {f"run-{raster.file_name}" for raster in RASTERS} | {f"run-{STYLE_FILE}"}
    assert left == inputs | beside | {"log.jsonl", "map.png", "run.gpkg", ".soakline"}


def test_two_runs_of_the_same_inputs_have_the_same_content(tmp_path: Path) -> None:
    run = run_folder(tmp_path, 300.0)
    for name in ("one.gpkg", "two.gpkg"):
        assert run_anew(tmp_path, ["plan", run.name, "--quiet", "--out", name])[0] == 0
    one, two = content(tmp_path / "one.gpkg"), content(tmp_path / "two.gpkg")
    assert one.keys() == two.keys()
    for table, rows in one.items():
        assert rows == two[table], table
    assert len(one["swales"]) > 0


@pytest.mark.parametrize("name", ["valley", "knoll"])
def test_every_layer_is_read_alike_by_three_readers(plan_ground: PlanGround, name: str) -> None:
    path = plan_ground(name).path
    for schema in LAYERS:
        by_pyogrio = pyogrio.read_dataframe(path, layer=schema.name)
        with fiona.open(path, layer=schema.name) as source:
            by_fiona = list(source)
        with closing(sqlite3.connect(path)) as opened:
            rows = opened.execute(f'SELECT count(*) FROM "{schema.name}"').fetchone()[0]  # noqa: S608
            columns = [row[1] for row in opened.execute(f'PRAGMA table_info("{schema.name}")')]
        assert len(by_pyogrio) == len(by_fiona) == rows
        assert list(schema.column_names) == [c for c in columns if c not in {"fid", "geom"}]
        read = pd.DataFrame([dict(feature.properties) for feature in by_fiona])
        for column in schema.column_names if rows else ():
            mine = by_pyogrio[column].astype(object).where(by_pyogrio[column].notna(), None)
            other = read[column].astype(object).where(read[column].notna(), None)
            assert mine.tolist() == other.tolist(), f"{schema.name}.{column}"
        if schema.geometry and rows:
            shapes = [shapely.geometry.shape(feature.geometry) for feature in by_fiona]
            assert shapely.equals_exact(by_pyogrio.geometry.array, shapes, 0.0).all()
            assert shapely.is_valid(by_pyogrio.geometry.array).all()


def test_land_where_nothing_may_be_placed_gives_a_plan_without_swales(tmp_path: Path) -> None:
    dem, grid = sample(plane(8.0), width_m=150.0)
    west, south, east, north = grid.bounds
    everywhere = gpd.GeoDataFrame(
        {"name": ["wood"]}, geometry=[shapely.box(west, south, east, north)], crs=grid.crs_wkt
    )
    run = write_run(tmp_path, dem, grid, features={"protected": everywhere})
    status, _, stderr = run_anew(tmp_path, ["plan", run.name, "--quiet"])
    assert status == 0, stderr
    plan = tmp_path / "run.gpkg"
    for layer in ("swales", "pegs", "spillways", "overflow_routes", "swale_storms"):
        assert len(pyogrio.read_dataframe(plan, layer=layer)) == 0
    excluded = pyogrio.read_dataframe(plan, layer="excluded_ground")
    area = pyogrio.read_dataframe(plan, layer="property").area_m2[0]
    assert excluded.area_m2.sum() == pytest.approx(area, rel=1e-6)
    findings = pyogrio.read_dataframe(plan, layer="findings")
    assert findings.message.str.contains("no swale|nowhere|excluded|no ground", case=False).any()


def test_too_steep_land_gives_a_plan_without_swales(tmp_path: Path) -> None:
    dem, grid = sample(plane(25.0), width_m=150.0)
    run = load_run_file(write_run(tmp_path, dem, grid))
    outcome = make_plan(run, tmp_path / "plan.gpkg", Progress())
    assert outcome.stops == 0
    assert len(pyogrio.read_dataframe(outcome.path, layer="swales")) == 0
    excluded = pyogrio.read_dataframe(outcome.path, layer="excluded_ground")
    assert set(excluded.reason) == {"boundary", "too_steep"}


def test_a_plain_plane_has_no_safe_end_and_ends_with_status_3(tmp_path: Path) -> None:
    dem, grid = sample(plane(8.0), width_m=300.0)
    run = write_run(tmp_path, dem, grid)
    status, stdout, stderr = run_anew(tmp_path, ["plan", run.name, "--quiet"])
    assert status == 3, stderr
    assert tmp_path / stdout.strip() == tmp_path / "run.gpkg"
    swales = pyogrio.read_dataframe(tmp_path / "run.gpkg", layer="swales")
    findings = pyogrio.read_dataframe(tmp_path / "run.gpkg", layer="findings")
    stops = findings[findings.severity == "stop"]
    assert set(stops.code) == {"no_safe_end"}
    assert set(stops.layer) == {"swales"}
    assert sorted(stops.feature_id) == sorted(swales.swale_id)


def test_a_neighbour_s_consent_turns_the_stop_into_a_caution(tmp_path: Path) -> None:
    dem, grid = sample(plane(8.0), width_m=300.0)
    overflow = {"allow_property_edge": True, "neighbour_consent": "in writing, 3 May"}
    run = load_run_file(write_run(tmp_path, dem, grid, run={"overflow": overflow}))
    outcome = make_plan(run, tmp_path / "plan.gpkg", Progress())
    assert outcome.stops == 0
    findings = pyogrio.read_dataframe(outcome.path, layer="findings")
    leaves = findings[findings.message.str.contains("edge", case=False)]
    assert "caution" in set(leaves.severity)


# The program with a trap: it kills itself when a stage begins, or just before the plan is renamed.
# Libraries are loaded once and each case runs in a copy of the process.
_TRAPPED = """
import os, pathlib, sys
import soakline.stages.plan
from soakline.command import event_log
from soakline.command.app import main

run, number, *moments = sys.argv[1:]
for moment in moments:
    child = os.fork()
    if child == 0:
        write, replace = event_log.EventLog.write, pathlib.Path.replace
        def trap(self, event):
            write(self, event)
            if f"{event.kind} {event.stage}" == moment:
                os.kill(os.getpid(), int(number))
        def late(self, target):
            if moment == "rename" and str(target).endswith(".gpkg"):
                os.kill(os.getpid(), int(number))
            return replace(self, target)
        event_log.EventLog.write, pathlib.Path.replace = trap, late
        sys.argv = ["soakline", "plan", run, "--log", "log.jsonl", "--quiet"]
        status = 0
        try:
            main()
        except SystemExit as end:
            status = end.code or 0
        os._exit(status)
    print(moment, os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), sep="\\t", flush=True)
"""


def moments_of(run: Path, out: Path) -> list[str]:
    """Every stage's beginning, where the one before has ended, and just before renaming."""
    told: list[str] = []

    def hear(event: Event) -> None:
        if event.kind == "started":
            told.append(f"started {event.stage}")

    make_plan(load_run_file(run), out, Progress((hear,)))
    for path in out.parent.glob(f"{out.stem}*"):
        path.unlink()
    return [*told, "rename"]


def left_behind(folder: Path) -> list[Path]:
    """Hidden files that no later run has a use for: all but the store of stage results."""
    return [path for path in folder.glob(".*") if path.name != ".soakline"]


@pytest.mark.parametrize(
    ("number", "status"), [(signal.SIGKILL, -9), (signal.SIGTERM, 143)], ids=["SIGKILL", "SIGTERM"]
)
def test_killed_at_any_stage_the_earlier_plan_is_untouched(
    tmp_path: Path, number: int, status: int
) -> None:
    run = run_folder(tmp_path, 120.0)
    moments = moments_of(run, tmp_path / "undisturbed.gpkg")
    assert {"started terrain", "started writing"} < set(moments)
    earlier = tmp_path / "run.gpkg"
    earlier.write_bytes(b"an earlier plan, whatever it holds" * 1000)
    before = hashlib.sha256(earlier.read_bytes()).hexdigest()
    ran = subprocess.run(
        [sys.executable, "-c", _TRAPPED, str(run), str(int(number)), *moments],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=200,
        check=True,
    )
    ended = dict(line.split("\t") for line in ran.stdout.splitlines())
    assert ended == dict.fromkeys(moments, str(status)), ran.stderr
    assert hashlib.sha256(earlier.read_bytes()).hexdigest() == before
    shown = {path.name for path in tmp_path.iterdir() if not path.name.startswith(".")}
    inputs = {"boundary.gpkg", "dem.tif", "rain.csv", "run.toml", "log.jsonl", "run.gpkg"}
    assert shown == inputs
    if number == signal.SIGTERM:  # there is time to tidy up
        assert left_behind(tmp_path) == []
    # The next run goes through, and clears what a killed one left.
    assert run_anew(tmp_path, ["plan", run.name, "--quiet"])[0] in {0, 3}
    assert len(pyogrio.read_dataframe(earlier, layer="swales")) >= 0
    assert left_behind(tmp_path) == []
