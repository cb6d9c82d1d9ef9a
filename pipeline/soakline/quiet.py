"""Silence for libraries that print from C: both streams, at the level of file descriptors."""

import contextlib
import ctypes
import fcntl
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


def copy_of(descriptor: int) -> int | None:
    """Copy a descriptor to a number over 2, so that it never stands for a standard stream.

    Returns
    -------
    The copy; None if the descriptor is closed
    """
    try:
        return fcntl.fcntl(descriptor, fcntl.F_DUPFD_CLOEXEC, 3)
    except OSError:
        return None


def nowhere() -> int:
    """Open the null device for writing, under a number over 2."""
    opened = os.open(os.devnull, os.O_WRONLY)
    try:
        return fcntl.fcntl(opened, fcntl.F_DUPFD_CLOEXEC, 3)
    finally:
        os.close(opened)


def hold_standard_streams() -> None:
    """Open the null device for each standard stream that is closed.

    Otherwise the next file opened, a plan perhaps, would get its number, and whatever a library
    prints would be written into it.
    """
    for descriptor in (0, 1, 2):
        try:
            os.fstat(descriptor)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # gets the lowest free number: this one


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
    kept = {descriptor: copy_of(descriptor) for descriptor in (1, 2)}
    sink = nowhere()
    try:
        for descriptor in kept:
            os.dup2(sink, descriptor)
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
        os.close(sink)
