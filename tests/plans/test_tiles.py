"""A plan is the same with its terrain made whole, in tiles, or in tiles by other processes."""

from pathlib import Path

import pytest
from distributed import LocalCluster

from soakline.command.tile_options import TileOptions
from soakline.command.tiles import surfaces_by
from soakline.grid import GroundArray
from soakline.inputs.types import Elevation
from soakline.problems import InputRefused
from soakline.runfile.load import load_run_file
from soakline.runfile.sections import TerrainKeys
from soakline.stages.plan import make_plan
from soakline.stages.progress import Progress
from tests.commands.running import run_anew
from tests.plans.test_new_rain import tables_of
from tests.terrain.test_tiles import check_same, elevation_of, scattered, whole
from tests.terrain_analytic.ground import plane, ring_hill, sample
from tests.terrain_analytic.run_folder import write_run

pytestmark = pytest.mark.slow


def planned(run_file: Path, out: Path, options: TileOptions) -> tuple[Path, list[str]]:
    """A plan, and what was told while it was made."""
    told: list[str] = []
    progress = Progress((lambda event: told.append(event.text),))
    run = load_run_file(run_file)
    surfaces = surfaces_by(options, out, progress)
    return make_plan(run, out, progress, surfaces=surfaces).path, told


def test_a_plan_in_tiles_is_the_plan(tmp_path: Path) -> None:
    """A knoll with survey noise, whose hollows and swales lie across the edges of 16 tiles."""
    dem, grid = sample(ring_hill(12.0, 60.0, 4.0), width_m=400.0, noise_m=0.03)
    run_file = write_run(tmp_path, dem, grid)
    of_whole, told = planned(run_file, tmp_path / "whole.gpkg", TileOptions(0))
    assert not any("in tiles" in line for line in told)
    of_tiles, told = planned(run_file, tmp_path / "tiles.gpkg", TileOptions(100))
    assert any("terrain in tiles of 100 cells" in line for line in told)
    expected, found = tables_of(of_whole), tables_of(of_tiles)
    assert len(expected["swales"]) > 3
    assert found.keys() == expected.keys()
    assert [name for name in expected if found[name] != expected[name]] == []
    for raster in ("elevation", "slope_pct", "contributing_m2"):
        own, other = (tmp_path / f"{name}-{raster}.tif" for name in ("tiles", "whole"))
        assert own.read_bytes() == other.read_bytes()
    assert list(tmp_path.glob(".*tiles*")) == []


def made(dem: GroundArray, options: TileOptions, folder: Path):  # type: ignore[no-untyped-def]
    surfaces = surfaces_by(options, folder / "plan.gpkg", Progress())
    return surfaces(elevation_of(dem), TerrainKeys(smoothing_m=5.0), lambda _: None)


def test_workers_of_a_scheduler_make_the_same(tmp_path: Path) -> None:
    dem = scattered(3)
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster:
        tiled = made(dem, TileOptions(64, cluster.scheduler_address), tmp_path)
    check_same(tiled, whole(dem))


def test_a_scheduler_without_workers_is_refused(tmp_path: Path) -> None:
    with (
        LocalCluster(n_workers=0, dashboard_address=None) as cluster,
        pytest.raises(InputRefused, match="--scheduler: found no worker"),
    ):
        made(scattered(0), TileOptions(64, cluster.scheduler_address), tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_tiles_of_a_killed_run_are_removed_and_those_of_a_running_one_are_not(
    tmp_path: Path,
) -> None:
    import fcntl  # noqa: PLC0415

    left, running = (tmp_path / f".plan.gpkg.tiles-{name}" for name in ("left", "running"))
    for folder in (left, running):
        folder.mkdir()
        (folder / "dem.npy").write_bytes(b"0" * 100)
    with (running / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        check_same(made(scattered(0), TileOptions(64), tmp_path), whole(scattered(0)))
    assert list(tmp_path.iterdir()) == [running]


def test_a_small_grid_is_made_whole_unless_tiles_or_a_scheduler_are_asked_for(
    tmp_path: Path,
) -> None:
    dem, grid = sample(plane(5.0), width_m=60.0)
    surfaces = surfaces_by(TileOptions(), tmp_path / "plan.gpkg", Progress())
    keys = TerrainKeys()
    assert type(surfaces(Elevation(grid, dem), keys, print).ground_m.base) is not memoryview
    asked = surfaces_by(TileOptions(None, "bogus://nowhere:1"), tmp_path / "plan.gpkg", Progress())
    with pytest.raises(InputRefused, match="--scheduler: found no Dask scheduler"):
        asked(Elevation(grid, dem), keys, print)


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--tiles", "5"], "5 is not 0 (whole) or from 64 to 16384 cells"),
        (["--tiles", "0", "--scheduler", "tcp://127.0.0.1:1"], "nothing to do for --scheduler"),
    ],
)
def test_options_that_say_nothing_sensible_are_refused(
    tmp_path: Path, options: list[str], told: str
) -> None:
    status, stdout, stderr = run_anew(tmp_path, ["plan", "run.toml", *options])
    assert (status, stdout) == (2, "")
    assert told in " ".join(stderr.split())
