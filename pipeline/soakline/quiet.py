"""Silence for libraries that print from C: both streams, at the level of file descriptors."""

import contextlib
import ctypes
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager


def _flush() -> None:
    """Empty Python's buffers and C's, so that no text ends up on the wrong side of the switch."""
    for stream in (sys.stdout, sys.stderr):
        # A captured or closed stream has nothing of ours left to write.
        with contextlib.suppress(AttributeError, OSError, ValueError):
            stream.flush()
    with contextlib.suppress(AttributeError, OSError):
        ctypes.CDLL(None).fflush(None)


def _copy(descriptor: int) -> int | None:
    try:
        return os.dup(descriptor)
    except OSError:  # closed: nothing to restore
        return None


@contextmanager
def quiet_streams() -> Iterator[None]:
    """Send file descriptors 1 and 2 nowhere for the length of a block; restore them always.

    The switch is the whole process's. What must be seen meanwhile, such as a progress bar, writes
    to a copy of descriptor 2 that was made before (`soakline.command.terminal` does). A descriptor
    that is closed on entry is closed again on leaving, so that no data file can come to stand in
    its place while the library prints.

    Examples
    --------
    >>> with quiet_streams():
    ...     _ = os.write(1, b"not seen")
    """
    _flush()
    kept = {descriptor: _copy(descriptor) for descriptor in (1, 2)}
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        for descriptor in kept:
            os.dup2(nowhere, descriptor)
        yield
    finally:
        # C buffers what it prints: emptied now it goes nowhere, later it would be seen.
        _flush()
        for descriptor, copy in kept.items():
            if copy is None:
                os.close(descriptor)
            else:
                os.dup2(copy, descriptor)
                os.close(copy)
        # If 1 or 2 was closed, the null device may have been given that very number.
        if nowhere not in kept:
            os.close(nowhere)
