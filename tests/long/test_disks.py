"""Disks that are full or read-only, clocks that jump, a plan that is open elsewhere."""

import os
import shutil
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from tests.commands.running import run_anew, run_script
from tests.long.kills import digests
from tests.terrain_analytic.ground import sample, v_valley
from tests.terrain_analytic.run_folder import write_run

pytestmark = pytest.mark.long

EARLIER = b"an earlier plan, whatever it holds"
YEAR_S = 365 * 86_400

# The program with a limit on the size of files, and room on the disk as far as it can tell.
_LIMITED = """
import resource, sys
limit, *sys.argv[1:] = sys.argv[1:]
resource.setrlimit(resource.RLIMIT_FSIZE, (int(limit), int(limit)))
from soakline.command.app import main
main()
"""

# The program whose disk seems empty when it asks first, before the rasters are made.
_FILLED_MEANWHILE = """
import shutil, types
from soakline.outputs import whole_file
asked = []
def usage(folder):
    asked.append(folder)
    told = shutil.disk_usage(folder)
    return types.SimpleNamespace(free=1 << 40) if len(asked) == 1 else told
whole_file.shutil = types.SimpleNamespace(disk_usage=usage, rmtree=shutil.rmtree)
from soakline.command.app import main
main()
"""

# In a name space of its own a disk of so many KiB is put over a folder; tells what is left on it.
_ON_A_DISK = """
mount -t tmpfs -o size=$1k tmpfs disk && cp run/* disk && cd disk && printf '%s' "$2" > run.gpkg
test "$3" = ro && mount -o remount,ro .
"$4" -c "$5" plan run.toml --quiet
status=$?
echo
ls -A
head -c 15 run.gpkg
exit $status
"""
_AS_IT_IS = "from soakline.command.app import main; main()"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A run folder with its plan, as `whole.gpkg`, and no store."""
    folder = tmp_path_factory.mktemp("farm") / "run"
    dem, grid = sample(v_valley(8.0, 2.0, rounding_m=5.0), width_m=400.0)
    run = write_run(folder, dem, grid)
    out = folder.parent / "whole"
    out.mkdir()
    assert run_anew(folder, ["plan", run.name, "--quiet", "--out", "../whole/plan.gpkg"])[0] == 0
    return folder


OnDisk = Callable[[int, str, str], tuple[int, list[str], list[str]]]


@pytest.fixture
def on_disk(folder: Path) -> OnDisk:
    """Plans on a disk of so many KiB: status, lines of stderr, what is on the disk at the end."""
    unshare = shutil.which("unshare")
    if (
        unshare is None
        or subprocess.run(
            [unshare, "-rm", "mount", "-t", "tmpfs", "tmpfs", str(folder)], check=False
        ).returncode
    ):
        pytest.skip("nobody may mount a disk here")
    (folder.parent / "disk").mkdir(exist_ok=True)

    def run(kib: int, mode: str, script: str) -> tuple[int, list[str], list[str]]:
        words = ["sh", str(kib), EARLIER.decode(), mode, sys.executable, script]
        ran = subprocess.run(
            [unshare, "-rm", "sh", "-c", _ON_A_DISK, *words],
            cwd=folder.parent,
            capture_output=True,
            text=True,
            timeout=400,
            check=False,
        )
        return ran.returncode, ran.stderr.splitlines(), ran.stdout.splitlines()

    return run


INPUTS = ["boundary.gpkg", "dem.tif", "rain.csv", "run.gpkg", "run.toml"]


@pytest.mark.parametrize("script", [_AS_IT_IS, _FILLED_MEANWHILE], ids=["from_the_start", "late"])
@pytest.mark.parametrize("kib", [1000, 1500, 2000, 2400])
def test_a_full_disk_is_one_message_and_the_earlier_plan_stays(
    on_disk: OnDisk, kib: int, script: str
) -> None:
    status, told, left = on_disk(kib, "rw", script)
    assert status == 2, told
    assert len(told) == 2
    assert "1 problem" in told[0]
    assert "run.gpkg: found" in told[1]
    assert "bytes free on its disk; allowed: about" in told[1]
    # A store of nothing may be there: it had no room for a result.
    assert [name for name in left if name != ".soakline"] == ["", *INPUTS, EARLIER.decode()[:15]]


def test_a_disk_with_just_enough_room_gets_the_right_plan(on_disk: OnDisk) -> None:
    status, told, left = on_disk(60_000, "rw", _AS_IT_IS)
    assert (status, told) == (0, [])
    assert left[-1].startswith("SQLite format 3")
    assert [name for name in left if name.startswith(".") and name != ".soakline"] == []


def test_a_read_only_disk_is_one_message(on_disk: OnDisk) -> None:
    status, told, left = on_disk(60_000, "ro", _AS_IT_IS)
    assert status == 2
    assert len(told) == 2
    assert "read-only" in told[1]
    assert left == ["", *INPUTS, EARLIER.decode()[:15]]


@pytest.mark.parametrize("share", [0.02, 0.1, 0.3, 0.6, 0.95])
def test_a_limit_on_files_met_while_rasters_are_made_is_one_message(
    folder: Path, tmp_path: Path, share: float
) -> None:
    plan = tmp_path / "plan.gpkg"
    plan.write_bytes(EARLIER)
    limit = str(int(share * (folder.parent / "whole/plan.gpkg").stat().st_size))
    arguments = [limit, "plan", "run.toml", "--quiet", "--out", str(plan)]
    status, stdout, stderr = run_script(folder, _LIMITED, arguments)
    assert (status, stdout) == (2, "")
    first, message = stderr.splitlines()
    assert "1 problem" in first
    assert "a limit on the size of files; allowed: about" in message
    assert plan.read_bytes() == EARLIER
    assert [path.name for path in tmp_path.iterdir() if path.name != ".soakline"] == ["plan.gpkg"]


@pytest.mark.parametrize("jump_s", [YEAR_S, -YEAR_S], ids=["forward", "back"])
def test_a_clock_that_jumps_between_runs_changes_nothing(
    folder: Path, tmp_path: Path, jump_s: int
) -> None:
    """Files of a year ahead are what a clock that was set back leaves."""
    run = tmp_path / "run"
    shutil.copytree(folder, run)
    command = ["plan", "run.toml", "--quiet", "--log", "log.jsonl"]
    assert run_anew(run, command)[0] == 0
    before = digests(run / "run.gpkg")
    leftover = run / ".soakline/.terrain@0.part"
    leftover.write_bytes(b"")
    then = time.time() + jump_s
    for path in [*run.rglob("*"), *run.rglob(".*")]:
        if path.is_file():
            os.utime(path, (then, then))
    status, _, stderr = run_anew(run, command)
    assert (status, stderr) == (0, "")
    assert digests(run / "run.gpkg") == before
    assert not leftover.exists()


def test_a_plan_that_is_read_elsewhere_is_told_and_kept(folder: Path, tmp_path: Path) -> None:
    plan = tmp_path / "plan.gpkg"
    command = ["plan", "run.toml", "--quiet", "--out", str(plan)]
    assert run_anew(folder, command)[0] == 0
    before = plan.read_bytes()
    with closing(sqlite3.connect(plan, isolation_level=None)) as reader:
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM swales").fetchone()
        status, stdout, stderr = run_anew(folder, command)
    assert (status, stdout) == (2, "")
    assert "another program holds open" in stderr
    assert plan.read_bytes() == before
    assert run_anew(folder, command)[0] == 0
