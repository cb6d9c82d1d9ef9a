"""Same inputs, same content: on any number of threads, and as a property of a fleet or alone."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.long.kills import DEMO, digests

pytestmark = pytest.mark.long

# Pools of threads are made by the number of cores, those of compiled code by a variable.
_CORES = """
import os, sys
cores, *sys.argv[1:] = sys.argv[1:]
os.cpu_count = lambda: int(cores)
from soakline.command.app import main
main()
"""


def planned(folder: Path, threads: int, cores: int) -> dict[str, str]:
    folder.mkdir()
    plan = folder / "plan.gpkg"
    ran = subprocess.run(
        [sys.executable, "-c", _CORES, str(cores), "plan", str(DEMO), "--out", str(plan)],
        env={**os.environ, "NUMBA_NUM_THREADS": str(threads)},
        capture_output=True,
        text=True,
        timeout=400,
        check=False,
    )
    assert ran.returncode in (0, 3), ran.stderr
    return digests(plan)


def test_any_number_of_threads_gives_the_same_content(tmp_path: Path) -> None:
    alone = planned(tmp_path / "one", threads=1, cores=1)
    assert len(alone) > 40
    for threads, cores in ((2, 2), (3, 5)):
        other = planned(tmp_path / f"{threads}", threads, cores)
        assert {name for name in alone | other if alone.get(name) != other.get(name)} == set()
