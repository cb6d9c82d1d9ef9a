"""Files that large arrays lie in, and the memory that they have been read into."""

from mmap import MADV_DONTNEED, mmap
from threading import Lock
from weakref import WeakSet

_in_use: "WeakSet[mmap]" = WeakSet()
_noting = Lock()


def note(memory: mmap) -> None:
    """Have a file's memory let go of between passes, for as long as it is in use."""
    with _noting:
        _in_use.add(memory)


def let_go() -> None:
    """Let go of the memory that large arrays have been read into; what is used is read anew.

    The system would do so by itself, but only when all memory is taken. What was written stays in
    the file.
    """
    with _noting:
        for memory in _in_use:
            memory.madvise(MADV_DONTNEED)
