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

T = TypeVar("T")

# Forking is sound on Linux. Elsewhere systems' own libraries may not be used after it.
_FORKS = sys.platform == "linux"


@contextmanager
def beside(work: Callable[[], T]) -> Iterator[Callable[[], T]]:
    """Do some work in a copy of this process, as far as the system lets one be made.

    Where none can be made, or it is ended from outside, the work is done here, when its result is
    asked for. The copy ends when the block ends, and when this process does, however it ends.

    Parameters
    ----------
    work : changes nothing here that is to last but files; what it returns or raises can be pickled

    Yields
    ------
    Waits for what the work returns, and returns it; raises what it raised. To be called once

    Examples
    --------
    >>> with beside(lambda: 6 * 7) as answer:
    ...     answer()
    42
    """
    # A copy of the main program alone: a worker of a pool has its cores dealt out already.
    copy = _copied(work) if _FORKS and multiprocessing.parent_process() is None else None
    if copy is None:
        yield work
        return
    pid, reads, life = copy
    with reads, life:

        def result() -> T:
            try:
                good, value = pickle.load(reads)  # noqa: S301 - what this program wrote itself
            except (EOFError, pickle.UnpicklingError):  # ended, for want of memory say
                return work()
            if good:
                returned: T = value
                return returned
            raise value

        try:
            yield result
        finally:
            with suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
            with suppress(ChildProcessError):
                os.waitpid(pid, 0)


def _copied(work: Callable[[], object]) -> tuple[int, BinaryIO, BinaryIO] | None:
    """Process that does the work, the pipe that brings its result, one that ends it when closed."""
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


def _work(work: Callable[[], object], writes: int, lives: int) -> None:
    """The copy's own course."""
    # Who interrupts means the first process, which ends this one.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    threading.Thread(target=_end_with, args=(lives,), daemon=True).start()
    outcome: tuple[bool, object]
    try:
        outcome = True, work()
    except Exception as error:  # noqa: BLE001 - raised again in the first process
        outcome = False, error
    try:
        told = pickle.dumps(outcome, protocol=5)
    except Exception as error:  # noqa: BLE001 - what cannot be sent is told in words
        told = pickle.dumps((False, RuntimeError(f"{outcome[1]!r}: {error}")))
    with os.fdopen(writes, "wb") as pipe:
        pipe.write(told)
    os._exit(0)


def _end_with(lives: int) -> None:
    """End when the first process does: then nothing holds the pipe's other end."""
    os.read(lives, 1)
    os._exit(1)
