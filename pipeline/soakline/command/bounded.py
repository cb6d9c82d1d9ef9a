"""Runs work in a process of its own, with a bound on its time and its memory."""

import os
import resource
import signal
import sys
import time
import traceback
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from soakline.ending import at_signal
from soakline.problems import InputProblem, InputRefused

MOST_SECONDS = 900.0
"""A check of 100 million cells takes under a minute."""
MEMORY_SHARE = 0.9
_PAUSES_S = (0.01, 0.1)
_PAGE_BYTES = os.sysconf("SC_PAGE_SIZE")


def memory_bound_bytes() -> int:
    """Nine tenths of the machine's memory: over that, the machine ends something of its choice."""
    return int(MEMORY_SHARE * _PAGE_BYTES * os.sysconf("SC_PHYS_PAGES"))


def run_bounded(work: Callable[[], int], file: Path, most_seconds: float, most_bytes: int) -> int:
    """Run work in a copy of this process.

    Parameters
    ----------
    work : gives an exit status
    file : that problems name
    most_seconds : of the clock
    most_bytes : of memory in use

    Returns
    -------
    exit status of the work

    Raises
    ------
    InputRefused
        If a bound was met; the work is ended then.

    Notes
    -----
    Compiled code that a hostile file keeps busy hears no signal and frees no lock; only another
    process can end it. Call it before libraries are loaded: a copy has no threads but its own.
    """
    child = os.fork()
    if child == 0:
        _work_and_end(work, most_seconds)
    with at_signal(lambda number: _ended_by(child, number)):
        return _watched(child, file, most_seconds, most_bytes)


def _ended_by(child: int, number: int) -> None:
    """Pass a signal on and wait."""
    os.kill(child, number)
    os.waitpid(child, 0)


def _work_and_end(work: Callable[[], int], most_seconds: float) -> None:
    """The copy's whole life."""
    status = 1
    try:
        # Should the first process be killed, nobody else would end this one. Two cores, and slack.
        cpu_s = int(4 * most_seconds) + 1
        resource.setrlimit(resource.RLIMIT_CPU, (cpu_s, cpu_s))
        status = work()
    except BaseException:  # noqa: BLE001 - there is no caller above: told here or nowhere
        traceback.print_exc()
    finally:
        for stream in (sys.stdout, sys.stderr):
            with suppress(OSError, ValueError, AttributeError):
                stream.flush()
        os._exit(status)


def _watched(child: int, file: Path, most_seconds: float, most_bytes: int) -> int:
    began = time.monotonic()
    pause_s, longest_s = _PAUSES_S
    while True:
        ended, state = os.waitpid(child, os.WNOHANG)
        if ended:
            status = os.waitstatus_to_exitcode(state)
            # By the shells' convention, as for a signal of one's own.
            return status if status >= 0 else 128 - status
        used_bytes = _memory_bytes(child)
        if time.monotonic() - began > most_seconds:
            raise _over(child, file, f"input that takes over {most_seconds:g} s to check",
                        f"at most {most_seconds:g} s")  # fmt: skip
        if used_bytes > most_bytes:
            raise _over(child, file, f"input that takes {used_bytes / 2**30:.1f} GiB to check",
                        f"at most {most_bytes / 2**30:.1f} GiB of memory")  # fmt: skip
        time.sleep(pause_s)
        pause_s = min(longest_s, 1.2 * pause_s)


def _memory_bytes(process: int) -> int:
    try:
        return int(Path(f"/proc/{process}/statm").read_text("ascii").split()[1]) * _PAGE_BYTES
    except (OSError, IndexError):
        return 0


def _over(child: int, file: Path, found: str, allowed: str) -> InputRefused:
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    mend = (
        "Check the files that it names one by one; a boundary or layer may have far too much in it."
    )
    return InputRefused([InputProblem(str(file), "", found, allowed, mend)])
