"""Work done by a copy of the process: its results, its failures, and its end."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from soakline import beside as module
from soakline.beside import NotBeside, beside
from soakline.problems import InputProblem, InputRefused

forks = pytest.mark.skipif(sys.platform != "linux", reason="no copies are made elsewhere")


@pytest.fixture(autouse=True)
def main_program(monkeypatch: pytest.MonkeyPatch) -> None:
    """Tests themselves may run in workers of a pool."""
    monkeypatch.setattr(module.multiprocessing, "parent_process", lambda: None)


@forks
def test_the_work_is_done_by_another_process_from_what_is_in_memory() -> None:
    ground = np.arange(1_000_000.0)
    with beside(lambda: iter([os.getpid(), ground[::2].sum(), ground[:5]])) as results:
        pid, total, few = results
    assert pid != os.getpid()
    assert total == 249_999_500_000.0
    assert few.tolist() == [0.0, 1.0, 2.0, 3.0, 4.0]


@forks
def test_both_go_on_at_the_same_time(tmp_path: Path) -> None:
    seen, answered = tmp_path / "seen", tmp_path / "answered"

    def work() -> Iterator[bool]:
        seen.touch()
        yield True
        yield _appears(answered)

    with beside(work) as results:
        assert _appears(seen)
        assert next(results)
        answered.touch()
        assert next(results)
        assert next(results, None) is None


@forks
def test_what_it_refuses_is_refused_here() -> None:
    problem = InputProblem("dem.tif", "", "no room", "room")

    def refuse() -> Iterator[int]:
        yield 1
        raise InputRefused([problem])

    with beside(refuse) as results:
        assert next(results) == 1
        with pytest.raises(InputRefused) as refused:
            next(results)
    assert refused.value.problems == [problem]


@forks
def test_what_cannot_be_sent_is_told() -> None:
    with beside(lambda: iter([len, lambda: 1])) as results:
        assert next(results) is len
        with pytest.raises(RuntimeError, match="lambda"):
            next(results)


@forks
def test_a_copy_that_is_killed_is_told() -> None:
    def work() -> Iterator[int]:
        yield 41
        os.kill(os.getpid(), signal.SIGKILL)

    with beside(work) as results:
        assert next(results) == 41
        with pytest.raises(NotBeside):
            next(results)


@forks
def test_the_copy_ends_with_the_block(tmp_path: Path) -> None:
    file = tmp_path / "pid"

    def work() -> Iterator[None]:
        _tell_pid(file)
        time.sleep(60.0)
        yield

    with beside(work):
        assert _appears(file)
    assert not _runs(int(file.read_text()))


@forks
def test_the_copy_ends_when_its_first_process_is_killed(tmp_path: Path) -> None:
    file = tmp_path / "pid"
    program = f"""
import time
from pathlib import Path
from soakline.beside import beside
from tests.test_beside import _tell_pid

def work():
    _tell_pid(Path({str(file)!r}))
    time.sleep(60.0)
    yield

with beside(work) as results:
    next(results)
"""
    first = subprocess.Popen([sys.executable, "-c", program])
    assert _appears(file, 30.0)
    first.kill()
    first.wait()
    copy = int(file.read_text())
    until = time.monotonic() + 10.0
    while _runs(copy) and time.monotonic() < until:
        time.sleep(0.02)
    assert not _runs(copy)


def test_where_no_copy_can_be_made_that_is_told_when_a_result_is_asked_for(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def no_room() -> int:
        raise BlockingIOError("no more processes")

    monkeypatch.setattr(module.os, "fork", no_room)
    with beside(lambda: iter([1])) as results, pytest.raises(NotBeside):
        next(results)


def test_a_worker_of_a_pool_makes_no_copies(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module.multiprocessing, "parent_process", lambda: "a pool")
    with beside(lambda: iter([1])) as results, pytest.raises(NotBeside):
        next(results)


def _tell_pid(file: Path) -> None:
    written = file.with_suffix(".new")
    written.write_text(str(os.getpid()))
    written.rename(file)


def _appears(file: Path, within_s: float = 10.0) -> bool:
    until = time.monotonic() + within_s
    while not file.exists():
        if time.monotonic() > until:
            return False
        time.sleep(0.01)
    return True


def _runs(pid: int) -> bool:
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0]
    except FileNotFoundError:
        return False
    return state != "Z"
