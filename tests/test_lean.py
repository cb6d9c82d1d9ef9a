"""Memory of files is let go of, what lies in them is not."""

import os
import signal
import sys
import threading
import time
from mmap import mmap
from pathlib import Path

import numpy as np
import pytest

from soakline import lean
from soakline.lean import kept_low, let_go, note

tells_pages = pytest.mark.skipif(sys.platform != "linux", reason="no system else tells of pages")
MIB = 1 << 20


def opened(folder: Path, size: int) -> np.ndarray:  # type: ignore[type-arg]
    """Bytes of a file, all looked at."""
    path = folder / "large"
    path.write_bytes(bytes(size))
    with path.open("r+b") as file:
        memory = mmap(file.fileno(), 0)
    note(memory)
    values = np.frombuffer(memory, np.uint8)
    values[:] = 7
    return values


def taken() -> int:
    return lean.taken_bytes()[0]


@tells_pages
def test_what_is_let_go_of_is_read_anew(tmp_path: Path) -> None:
    values = opened(tmp_path, 64 * MIB)
    before = taken()
    let_go()
    left = taken()  # files of tests before this one may be let go of too
    assert left < before - 60 * MIB
    assert (values == 7).all()
    assert taken() > left + 60 * MIB


@tells_pages
def test_files_are_let_go_of_once_they_take_too_much(tmp_path: Path) -> None:
    values = opened(tmp_path, 64 * MIB)
    before = taken()
    with kept_low(before + MIB):
        time.sleep(0.6)
        assert taken() > before - 4 * MIB
    with kept_low(before - 32 * MIB):
        until = time.monotonic() + 10.0
        while taken() > before - 60 * MIB and time.monotonic() < until:
            time.sleep(0.05)
    assert taken() <= before - 60 * MIB
    assert (values == 7).all()


@tells_pages
def test_what_was_freed_is_given_back(monkeypatch: pytest.MonkeyPatch) -> None:
    """Blocks of 60 kB with one in a hundred still in use, as what many lines leave behind."""
    blocks = [bytes(60_000) for _ in range(2000)]
    kept = blocks[::100]
    before = lean.taken_bytes()[1]
    monkeypatch.setattr(lean, "_LARGE_BYTES", before - 64 * MIB)
    monkeypatch.setattr(lean, "_STEP_BYTES", 32 * MIB)
    del blocks
    with kept_low():
        until = time.monotonic() + 10.0
        while lean.taken_bytes()[1] > before - 60 * MIB and time.monotonic() < until:
            time.sleep(0.05)
    assert lean.taken_bytes()[1] < before - 60 * MIB
    assert not any(map(any, kept))


@pytest.mark.skipif(not hasattr(os, "fork"), reason="no copies are made")
@pytest.mark.filterwarnings("ignore:.*multi-threaded:DeprecationWarning")
def test_a_copy_of_the_process_does_not_wait_for_a_thread_that_it_has_not() -> None:
    held = threading.Event()

    def hold() -> None:
        with lean._noting:
            held.set()
            time.sleep(0.3)

    thread = threading.Thread(target=hold)
    thread.start()
    held.wait()
    pid = os.fork()
    if pid == 0:
        signal.alarm(10)
        let_go()
        os._exit(0)
    assert os.waitpid(pid, 0)[1] == 0
    thread.join()
