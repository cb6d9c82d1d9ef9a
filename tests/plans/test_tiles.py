"""A plan is the same whether its terrain is made whole, in tiles, or by other processes."""

import fcntl
import os
import signal
from collections import Counter
from concurrent.futures import Executor
from pathlib import Path

import pytest
from distributed import Client, LocalCluster

from soakline.command.tile_options import TileOptions
from soakline.command.tiles import surfaces_by
from soakline.grid import GroundArray
from soakline.problems import InputRefused
from soakline.runfile.load import load_run_file
from soakline.runfile.sections import TerrainKeys
from soakline.stages.plan import make_plan
from soakline.stages.progress import Progress
from soakline.store.stage_store import StageStore
from soakline.terrain.tiles.run import tiled_surfaces
from tests.commands.running import run_anew
from tests.plans.test_new_rain import tables_of
from tests.terrain.test_tiles import check_same, elevation_of, scattered, whole
from tests.terrain_analytic.ground import ring_hill, sample
from tests.terrain_analytic.run_folder import write_run

pytestmark = pytest.mark.slow


def planned(
    run_file: Path, out: Path, options: TileOptions, store: StageStore | None = None
) -> tuple[Path, list[str]]:
    """A plan, and what was told while it was made."""
    told: list[str] = []
    progress = Progress((lambda event: told.append(event.text),))
    run = load_run_file(run_file)
    surfaces = surfaces_by(options, out, progress)
    return make_plan(run, out, progress, store=store, surfaces=surfaces).path, told


def test_a_plan_in_tiles_is_the_plan(tmp_path: Path) -> None:
    """A knoll with survey noise, whose hollows and swales lie across the edges of 16 tiles; results
    of all stages are used as they lie in the store.
    """
    dem, grid = sample(ring_hill(12.0, 60.0, 4.0), width_m=400.0, noise_m=0.03)
    run_file = write_run(tmp_path, dem, grid)
    of_whole, told = planned(run_file, tmp_path / "whole.gpkg", TileOptions(0))
    assert not any("in tiles" in line for line in told)
    store = StageStore(tmp_path / "work", 1.0, True, pytest.fail, lean_from_bytes=0)
    of_tiles, told = planned(run_file, tmp_path / "tiles.gpkg", TileOptions(100), store)
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


class Deadly(Executor):
    """Ends the worker of some tasks, just before it would tell what it has done.

    Parameters
    ----------
    workers : run the tasks
    folder : keeps note of what has been ended, so that each is once
    """

    def __init__(self, workers: Executor, folder: Path) -> None:
        self.workers, self.folder = workers, folder
        self.seen: Counter[str] = Counter()
        self.begun: list[str] = []

    def submit(self, task, /, *own, **named):  # type: ignore[no-untyped-def]
        name = task.__name__
        self.begun.append(name)
        self.seen[name] += 1
        last = self.folder / name
        fatal = self.seen[name] == {"pour_on_tile": 9, "shorten_tile": 2}.get(name, 3)

        def done_or_ended():  # type: ignore[no-untyped-def]
            result = task(*own)
            if fatal and not last.exists():
                last.touch()
                os.kill(os.getpid(), signal.SIGKILL)
            return result

        return self.workers.submit(done_or_ended, **named)


def test_what_a_lost_worker_had_in_hand_is_done_by_another(tmp_path: Path) -> None:
    """A worker is killed once in each kind of task, after its files were changed."""
    dem = scattered(3)
    ended, tiles = tmp_path / "ended", tmp_path / "tiles"
    ended.mkdir()
    tiles.mkdir()
    with (
        LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster,
        Client(cluster) as client,
        client.get_executor(pure=False, retries=0) as workers,
    ):
        deadly = Deadly(workers, ended)
        keys = TerrainKeys(smoothing_m=5.0)
        surfaces = tiled_surfaces(elevation_of(dem), keys, lambda _: None, 64, tiles, deadly, 2)
        check_same(surfaces, whole(dem))
    killed_in = {path.name for path in ended.iterdir()}
    assert killed_in == {
        *("smooth_tile", "flood_tile", "facet_tile", "shorten_tile", "lead_tile"),
        *("pour_tile", "pour_on_tile"),
    }
    # A tile was made anew from its beginning; two, where a result that was not told yet was lost.
    assert deadly.begun.count("pour_tile") > deadly.begun.count("flood_tile")


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
    left, running = (tmp_path / f".plan.gpkg.tiles-{name}" for name in ("left", "running"))
    for folder in (left, running):
        folder.mkdir()
        (folder / "dem-0.tile").write_bytes(b"0" * 100)
    with (running / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        check_same(made(scattered(0), TileOptions(64), tmp_path), whole(scattered(0)))
    assert list(tmp_path.iterdir()) == [running]


def test_a_scheduler_alone_asks_for_tiles_and_nothing_for_none(tmp_path: Path) -> None:
    dem = scattered(0)
    told: list[str] = []
    progress = Progress((lambda event: told.append(event.text),))
    surfaces = surfaces_by(TileOptions(), tmp_path / "plan.gpkg", progress)
    check_same(surfaces(elevation_of(dem), TerrainKeys(), lambda _: None), whole(dem))
    assert told == []
    with pytest.raises(InputRefused, match="--scheduler: found no Dask scheduler"):
        made(dem, TileOptions(None, "bogus://nowhere:1"), tmp_path)


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
