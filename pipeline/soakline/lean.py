"""Memory that is not needed is given back: what files were read into, and what was freed."""

import ctypes
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from mmap import MADV_DONTNEED, PAGESIZE, mmap
from pathlib import Path
from threading import Event, Lock, Thread
from weakref import WeakSet

MOST_BYTES = 1 << 29
"""Memory that files may take before it is let go of."""

# Passes over a grid read a gibibyte or two a second.
_EVERY_S = 0.2
# The C library keeps much of what is freed, between what is not. From so much memory on it is asked
# for that, each time that so much has come to it.
_LARGE_BYTES, _STEP_BYTES = 1 << 30, 1 << 28
# Pages of this process: all, those in memory, of these those of files.
_PAGES = Path("/proc/self/statm")

_in_use: "WeakSet[mmap]" = WeakSet()
_noting = Lock()
# A copy of this process must not find it locked by a thread that it has no copy of.
os.register_at_fork(
    before=_noting.acquire, after_in_parent=_noting.release, after_in_child=_noting.release
)


def note(memory: mmap) -> None:
    """Count a file's memory among what is let go of, for as long as it is in use."""
    with _noting:
        _in_use.add(memory)


def let_go() -> None:
    """Let go of all that files have been read into; what is used is read anew.

    The system would do so by itself, but only when all memory is taken. What was written stays in
    the file.
    """
    with _noting:
        for memory in _in_use:
            memory.madvise(MADV_DONTNEED)


@contextmanager
def kept_low(most_bytes: int = MOST_BYTES) -> Iterator[None]:
    """Give memory back whenever it comes to much, for the length of a block.

    A compiled loop that holds the interpreter may take more; right after it is given back.

    Parameters
    ----------
    most_bytes : that files may take, libraries counted too
    """
    ended = Event()

    def watch() -> None:
        held = _LARGE_BYTES
        while not ended.wait(_EVERY_S):
            files, own = taken_bytes()
            if files > most_bytes:
                let_go()
            if own > held + _STEP_BYTES:
                _give_back_what_is_freed()
                held = own = taken_bytes()[1]
            held = max(min(held, own), _LARGE_BYTES)

    Thread(target=watch, daemon=True).start()
    try:
        yield
    finally:
        ended.set()


def taken_bytes() -> tuple[int, int]:
    """Memory of this process that files take, and all other; 0 where the system does not tell."""
    with suppress(OSError):
        _, resident, files = _PAGES.read_text(encoding="ascii").split()[:3]
        return int(files) * PAGESIZE, (int(resident) - int(files)) * PAGESIZE
    return 0, 0


def _give_back_what_is_freed() -> None:
    with suppress(OSError, AttributeError, TypeError):  # other C libraries have no such call
        ctypes.CDLL(None).malloc_trim(0)
