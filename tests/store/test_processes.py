"""Several runs on one store, and runs that are killed."""

import multiprocessing
import signal
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from soakline.store.folder import MARKER
from soakline.store.keys import key_of
from tests.store.at_once import CELLS, keep_in_little_room, keep_in_turn
from tests.store.values import assert_same, never, opened

ROUNDS = 20


@pytest.fixture(scope="module")
def processes() -> Iterator[ProcessPoolExecutor]:
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(2, mp_context=context) as pool:
        yield pool


def test_processes_that_make_the_same_at_once_do_not_disturb_each_other(
    tmp_path: Path, processes: ProcessPoolExecutor
) -> None:
    folder = tmp_path / "store"
    running = [processes.submit(keep_in_turn, folder, ROUNDS) for _ in range(2)]
    assert [told for told, _ in (own.result() for own in running)] == [[], []]
    there = sorted(path.name for path in folder.iterdir())
    assert len(there) == 1 + ROUNDS
    assert there[0] == MARKER
    told, loaded = keep_in_turn(folder, ROUNDS)
    assert (told, loaded) == ([], ROUNDS)


def test_what_one_process_drops_another_can_still_read(
    tmp_path: Path, processes: ProcessPoolExecutor
) -> None:
    folder = tmp_path / "store"
    running = [processes.submit(keep_in_little_room, folder, 3 * n, ROUNDS) for n in range(2)]
    assert [own.result() for own in running] == [[], []]
    told: list[str] = []
    store = opened(folder, told, limit_gib=3 * 8 * CELLS / 2**30)
    store.kept("lines", key_of(1), lambda: 1)
    assert store.size() <= 3 * 8 * CELLS


KILLED_WHILE_STORING = """
import sys, time
from pathlib import Path
import numpy as np
from soakline.store import stage_store
from soakline.store.keys import key_of

whole = stage_store.write_entry

def write_half(file, head, packed):
    whole(file, head, packed)
    file.flush()
    file.truncate(head.file_bytes // 2)
    print("storing", flush=True)
    time.sleep(60)

stage_store.write_entry = write_half
store = stage_store.StageStore(Path(sys.argv[1]), 1.0, False, print)
store.kept("terrain", key_of("a DEM"), lambda: np.arange(1000))
"""


@pytest.fixture
def storing(tmp_path: Path) -> Iterator["subprocess.Popen[str]"]:
    """A run that is half-way through storing a result."""
    with subprocess.Popen(
        [sys.executable, "-c", KILLED_WHILE_STORING, str(tmp_path / "store")],
        stdout=subprocess.PIPE,
        text=True,
    ) as run:
        assert run.stdout is not None
        assert run.stdout.readline() == "storing\n"
        yield run
        run.kill()


def leftovers(folder: Path) -> list[Path]:
    return list(folder.glob(".*"))


def test_what_a_killed_run_has_half_stored_is_never_seen_and_cleared(
    storing: "subprocess.Popen[str]", tmp_path: Path
) -> None:
    folder, told = tmp_path / "store", []
    storing.send_signal(signal.SIGKILL)
    storing.wait()
    assert len(leftovers(folder)) == 1
    value = np.arange(1000)
    assert opened(folder, told).kept("terrain", key_of("a DEM"), lambda: value) is value
    assert leftovers(folder) == []
    assert_same(value, opened(folder, told).kept("terrain", key_of("a DEM"), never))
    assert told == []


def test_what_a_living_run_is_storing_is_left_alone(
    storing: "subprocess.Popen[str]", tmp_path: Path
) -> None:
    folder, told = tmp_path / "store", []
    assert opened(folder, told).kept("terrain", key_of("a DEM"), lambda: 1) == 1
    assert len(leftovers(folder)) == 1
    assert storing.poll() is None
    assert told == []
