"""Files that large arrays lie in, and the memory that they are read into."""

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from mmap import MADV_DONTNEED, PAGESIZE, mmap
from pathlib import Path
from threading import Event, Lock, Thread
from weakref import WeakSet

MOST_BYTES = 1 << 30
"""Memory that files may take before it is let go of."""

# Passes over a grid read a gibibyte or two a second.
_EVERY_S = 0.2
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
    """Let go of the memory of files whenever it comes to too much, for the length of a block.

    A compiled loop that holds the interpreter may take more; right after it is let go of.

    Parameters
    ----------
    most_bytes : of files, libraries counted too
    """
    ended = Event()

    def watch() -> None:
        while not ended.wait(_EVERY_S):
            if _bytes_of_files() > most_bytes:
                let_go()

    Thread(target=watch, daemon=True).start()
    try:
        yield
    finally:
        ended.set()


def _bytes_of_files() -> int:
    """What files take of this process's memory; 0 where the system does not tell."""
    with suppress(OSError):
        return int(_PAGES.read_text(encoding="ascii").split()[2]) * PAGESIZE
    return 0
