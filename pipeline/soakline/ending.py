"""The end by a signal: what must not be left behind is cleared, then the process is gone.

No exception is raised for it. One that comes out of nowhere is dropped where it happens to meet a
destructor or a callback of a library, and the run goes on; or it is taken for another failure by
code that catches everything; or it waits for every thread of a pool.
"""

import os
import shutil
import signal
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import FrameType

_duties: dict[object, Callable[[int], object]] = {}
# Those that clear away, done again: another thread may just be about to write what they removed.
_clearing: dict[object, Callable[[], object]] = {}
_AGAIN, _AFTER_S = 3, 0.02
if hasattr(os, "register_at_fork"):
    # A copy of this process has none of its duties.
    os.register_at_fork(after_in_child=_duties.clear)
    os.register_at_fork(after_in_child=_clearing.clear)


@contextmanager
def at_signal(duty: Callable[[int], object]) -> Iterator[None]:
    """Have something done if a signal ends the process while the block runs, the latest first.

    Parameters
    ----------
    duty : gets the signal's number; what it raises is dropped. It is called in the main thread, in
        the midst of anything
    """
    key = object()
    _duties[key] = duty
    try:
        yield
    finally:
        del _duties[key]


@contextmanager
def cleared(clear: Callable[[], object]) -> Iterator[None]:
    """Clear something away when the block ends, however it ends, by a signal too.

    Parameters
    ----------
    clear : may be called several times
    """
    key = object()
    with at_signal(lambda _: clear()):
        _clearing[key] = clear
        try:
            yield
        finally:
            del _clearing[key]
            clear()


@contextmanager
def scratch_folder(prefix: str = "soakline-", beside: Path | None = None) -> Iterator[Path]:
    """Lend a folder, in another one or where the system has its temporary ones; then clear it away.

    What cannot be cleared stays.
    """
    folder = Path(tempfile.mkdtemp(prefix=prefix, dir=beside))
    with cleared(lambda: shutil.rmtree(folder, ignore_errors=True)):
        yield folder


def end_on_signals() -> None:
    """End in order on SIGINT and SIGTERM; one that the parent ignores stays ignored.

    The exit status is 130 or 143, by the shells' convention.
    """
    for number in (signal.SIGINT, signal.SIGTERM):
        if signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, _end)


def _end(number: int, _: FrameType | None) -> None:
    # Some send a signal to a process and then to its group; clearing away takes no time.
    for other in (signal.SIGINT, signal.SIGTERM):
        signal.signal(other, signal.SIG_IGN)
    for duty in reversed(list(_duties.values())):
        with suppress(Exception):
            duty(number)
    for _again in range(_AGAIN):
        time.sleep(_AFTER_S)
        for clear in reversed(list(_clearing.values())):
            with suppress(Exception):
                clear()
    os._exit(128 + number)
