"""Work in a process of its own ends within its bounds of time and memory."""

import os
import time
from pathlib import Path

import pytest

from soakline.command.bounded import run_bounded
from soakline.problems import InputRefused

FILE = Path("run.toml")
GIB = 2**30


def test_a_status_is_handed_on() -> None:
    assert [run_bounded(lambda s=s: s, FILE, 60.0, 8 * GIB) for s in (0, 2, 3)] == [0, 2, 3]


def test_work_that_a_signal_ends_has_the_status_of_that_signal() -> None:
    assert run_bounded(lambda: os.kill(os.getpid(), 9) or 0, FILE, 60.0, 8 * GIB) == 137


def test_work_over_its_time_is_ended_and_named() -> None:
    began = time.monotonic()
    with pytest.raises(InputRefused, match=r"run.toml: found input that takes over 0.2 s to check"):
        run_bounded(lambda: time.sleep(300) or 0, FILE, 0.2, 8 * GIB)
    assert time.monotonic() - began < 100


def test_work_over_its_memory_is_ended_and_named() -> None:
    def greedy() -> int:
        held = []
        while True:
            held.append(bytearray(b"x" * 2**24))
            time.sleep(0.01)

    with pytest.raises(InputRefused, match=r"GiB to check; allowed: at most 1.0 GiB of memory"):
        run_bounded(greedy, FILE, 300.0, GIB)
