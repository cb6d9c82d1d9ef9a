"""Work done beside this process by a copy of it, on another core and with no lock in common.

Threads serve where a library lets go of the interpreter for long; many calls of GDAL and all Python
code do not. A forked copy sees this process's memory as it is, at no cost. It must call no kernel
that runs on all cores: OpenMP does not outlive a fork.
"""

import multiprocessing
import os
import pickle
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import BinaryIO, TypeVar

from soakline.ending import cleared
from soakline.lean import kept_low

T = TypeVar("T")

# Forking is sound on Linux. Elsewhere systems' own libraries may not be used after it.
_FORKS = sys.platform == "linux"
# What is told over the pipe.
_RESULT, _FAILED, _DONE = range(3)


class NotBeside(Exception):
    """There is no copy of this process, or it was ended: the work is still to be done."""


@contextmanager
def beside(work: Callable[[], Iterator[T]]) -> Iterator[Iterator[T]]:
    """Do some work in a copy of this process, as far as the system lets one be made.

    The copy ends when the block ends, and when this process does, however it ends.

    Parameters
    ----------
    work : tells its results one by one; changes nothing here that is to last but files. What it
        tells or raises can be pickled

    Yields
    ------
    Results, each waited for; raises what the work raised, or `NotBeside` once a result is asked for
    where no copy could be made or it was ended from outside
    """
    # A copy of the main program alone: a worker of a pool has its cores dealt out already.
    copy = _copied(work) if _FORKS and multiprocessing.parent_process() is None else None
    if copy is None:
        yield _told(None)
        return
    pid, reads, life = copy
    running = [pid]
    with reads, life, cleared(lambda: _kill(running)):
        yield _told(reads)


def _kill(running: list[int]) -> None:
    """Kill and await a process, once: its number may be another's afterwards."""
    while running:
        pid = running.pop()
        with suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)
        with suppress(ChildProcessError):
            os.waitpid(pid, 0)


def _told(reads: BinaryIO | None) -> Iterator[T]:
    """Results as the copy tells them, through a pipe; where there is no copy, that."""
    if reads is None:
        raise NotBeside
    while True:
        try:
            what, value = pickle.load(reads)  # noqa: S301 - what this program wrote itself
        except (EOFError, pickle.UnpicklingError):  # ended, for want of memory say
            raise NotBeside from None
        if what == _DONE:
            return
        if what == _FAILED:
            raise value
        result: T = value
        yield result


def _copied(work: Callable[[], Iterator[object]]) -> tuple[int, BinaryIO, BinaryIO] | None:
    """Process that does the work, pipe that brings its results, one that ends it when closed."""
    reads, writes = os.pipe()
    lives, life = os.pipe()
    sys.stdout.flush()
    sys.stderr.flush()
    try:
        pid = os.fork()
    except OSError:  # no room for another process
        for end in (reads, writes, lives, life):
            os.close(end)
        return None
    if pid == 0:
        try:
            os.close(reads)
            os.close(life)
            _work(work, writes, lives)
        finally:
            os._exit(1)
    os.close(writes)
    os.close(lives)
    return pid, os.fdopen(reads, "rb"), os.fdopen(life, "wb")


def _work(work: Callable[[], Iterator[object]], writes: int, lives: int) -> None:
    """The copy's own course."""
    # Who interrupts means the first process, which ends this one.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    threading.Thread(target=_end_with, args=(lives,), daemon=True).start()
    with os.fdopen(writes, "wb") as pipe, kept_low():
        try:
            for result in work():
                _tell(pipe, _RESULT, result)
        except Exception as error:  # noqa: BLE001 - raised again in the first process
            _tell(pipe, _FAILED, error)
        _tell(pipe, _DONE, None)
    os._exit(0)


def _tell(pipe: BinaryIO, what: int, value: object) -> None:
    try:
        told = pickle.dumps((what, value), protocol=5)
    except Exception as error:  # noqa: BLE001 - what cannot be sent is told in words
        told = pickle.dumps((_FAILED, RuntimeError(f"{value!r}: {error}")))
    pipe.write(told)
    pipe.flush()


def _end_with(lives: int) -> None:
    """End when the first process does: then nothing holds the pipe's other end."""
    os.read(lives, 1)
    os._exit(1)
