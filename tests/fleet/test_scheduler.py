"""A fleet on a cluster of somebody else's: a scheduler and workers that run already."""

import json
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import pytest

from tests.commands.running import run_anew
from tests.fleet.farms import break_farm, write_farms, write_list

pytestmark = pytest.mark.long

START_S = 120.0


@dataclass(frozen=True)
class Cluster:
    """Processes of `dask scheduler` and `dask worker`."""

    address: str
    workers: "list[subprocess.Popen[bytes]]"


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[Cluster]:
    told = tmp_path / "scheduler.json"
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "cwd": tmp_path}
    dask = [sys.executable, "-m", "dask"]
    local = ["--host", "127.0.0.1", "--no-dashboard"]
    with ExitStack() as held:

        def start(*words: str) -> "subprocess.Popen[bytes]":
            process = held.enter_context(subprocess.Popen([*dask, *words], **quiet))  # type: ignore[call-overload]
            held.callback(process.kill)
            return process

        start("scheduler", *local, "--port", "0", "--scheduler-file", str(told))
        until = time.monotonic() + START_S
        while not told.exists() or not told.read_text():
            assert time.monotonic() < until, "no scheduler"
            time.sleep(0.2)
        declared = ["--nthreads", "1", "--no-nanny", "--resources", "memory_mib=3000"]
        own = [
            start("worker", *local, *declared, "--scheduler-file", str(told), "--name", f"w{k}")
            for k in range(2)
        ]
        yield Cluster(json.loads(told.read_text())["address"], own)


def test_a_fleet_on_a_scheduler_that_runs_loses_nothing_with_a_worker(
    cluster: Cluster, tmp_path: Path
) -> None:
    farms = write_farms(tmp_path, 6)
    break_farm(farms[2], 3)
    write_list(tmp_path)
    command = ["fleet", "list.toml", "--json", "--scheduler", cluster.address]
    with subprocess.Popen(
        [sys.executable, "-m", "soakline", *command],
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as fleet:
        assert fleet.stderr is not None
        told = []
        for line in fleet.stderr:
            told.append(line)
            if line.removeprefix("error: ").startswith("2 of 6"):
                cluster.workers[0].send_signal(signal.SIGKILL)
        assert fleet.stdout is not None
        words = fleet.stdout.read()
    assert words, told
    facts = json.loads(words)
    statuses = [row["status"] for row in facts["properties"]]
    assert statuses == ["planned", "planned", "refused", "planned", "planned", "planned"]
    assert fleet.returncode == 3
    assert len(gpd.read_file(tmp_path / "fleet/fleet.gpkg", layer="properties")) == 6
    # The cluster is somebody's: it runs on, and the next fleet finds it.
    assert cluster.workers[1].poll() is None
    status, stdout, _ = run_anew(tmp_path, command)
    kept = [row["kept"] for row in json.loads(stdout)["properties"]]
    assert (status, kept) == (3, [True, True, False, True, True, True])
