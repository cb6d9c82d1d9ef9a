"""Writing that fails, or that two runs do at once: the earlier plan stays, nothing half is left."""

import subprocess
import sys
from pathlib import Path

import pyogrio
import pytest

from tests.commands.running import run_anew, run_bound, run_script
from tests.terrain_analytic.ground import plane, sample
from tests.terrain_analytic.run_folder import write_run

# The program with a limit on the size of files: the system refuses the bytes beyond it, as it does
# on a full disk, and the libraries that write tell as little of it.
_LIMITED = """
import resource, sys
limit, *sys.argv[1:] = sys.argv[1:]
resource.setrlimit(resource.RLIMIT_FSIZE, (int(limit), int(limit)))
from soakline.command.app import main
main()
"""

# The program whose disk is full by the time that it draws.
_NO_PICTURE = """
import errno, matplotlib.figure
from soakline.command.app import main
def full(self, *_, **__):
    raise OSError(errno.ENOSPC, "No space left on device")
matplotlib.figure.Figure.savefig = full
main()
"""

# The program that waits for a word before its plan takes its place.
_WAITING = """
import pathlib, sys
from soakline.command.app import main
replace = pathlib.Path.replace
def late(self, target):
    print("ready", flush=True)
    sys.stdin.readline()
    return replace(self, target)
pathlib.Path.replace = late
main()
"""


def files(folder: Path) -> dict[str, bytes]:
    """Every file of a folder with its bytes, hidden ones too; what is kept for later runs aside."""
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A run folder with its plan."""
    folder = tmp_path_factory.mktemp("farm")
    run = write_run(folder, *sample(plane(8.0), width_m=240.0))
    status, _, stderr = run_anew(folder, ["plan", run.name, "--quiet"])
    assert status == 3, stderr
    return run


@pytest.mark.parametrize("share", [0.01, 0.4, 0.7, 0.99])
def test_no_room_half_way_is_refused_and_the_earlier_plan_stays(run: Path, share: float) -> None:
    before = files(run.parent)
    limit = str(int(share * len(before["run.gpkg"])))
    arguments = [limit, "plan", run.name, "--quiet"]
    status, stdout, stderr = run_script(run.parent, _LIMITED, arguments)
    assert (status, stdout) == (2, "")
    first, message, *more = stderr.splitlines()
    assert "1 problem" in first
    assert "run.gpkg: found" in message
    assert "a limit on the size of files; allowed: about" in message
    assert more == []
    assert files(run.parent) == before


def test_no_room_for_the_picture_leaves_the_earlier_plan_too(run: Path) -> None:
    (run.parent / "map.png").write_bytes(b"earlier")
    before = files(run.parent)
    arguments = ["plan", run.name, "--quiet", "--map", "map.png"]
    status, stdout, stderr = run_script(run.parent, _NO_PICTURE, arguments)
    assert (status, stdout) == (2, "")
    assert "map.png: found" in stderr
    assert "Nothing was written." in stderr
    assert files(run.parent) == before


@pytest.mark.slow
def test_two_runs_at_once_leave_one_whole_plan(run: Path) -> None:
    before = files(run.parent)
    with subprocess.Popen(
        [sys.executable, "-c", _WAITING, "plan", run.name, "--quiet"],
        cwd=run.parent,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as slow:
        assert slow.stdout is not None
        assert slow.stdout.readline() == "ready\n"
        assert run_anew(run.parent, ["plan", run.name, "--quiet"])[0] == 3
        by_quick = pyogrio.read_dataframe(run.with_suffix(".gpkg"), layer="swales")
        slow.communicate("go\n", timeout=60)
    assert slow.returncode == 3
    by_slow = pyogrio.read_dataframe(run.with_suffix(".gpkg"), layer="swales")
    assert len(by_slow) > 0
    assert by_slow.equals(by_quick)
    assert files(run.parent).keys() == before.keys()


@pytest.mark.parametrize("option", ["--out", "--map", "--log"])
def test_a_folder_that_may_not_be_written_to_is_refused(run: Path, option: str) -> None:
    before = files(run.parent)
    locked = run.parent / "locked"
    locked.mkdir(mode=0o500)
    name = {"--out": "plan.gpkg", "--map": "map.png", "--log": "log.jsonl"}[option]
    status, stdout, stderr = run_bound(run.parent, ["plan", run.name, option, f"locked/{name}"])
    left = list(locked.iterdir())
    locked.rmdir()
    assert (status, stdout, left) == (2, "", [])
    assert "1 problem in the input" in stderr
    assert f"locked/{name}: {option}: found" in stderr
    assert "read-only" in stderr
    assert files(run.parent) == before
