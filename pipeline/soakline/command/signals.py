"""Signals become one exception, so that every `finally` runs and no half-written file stays."""

import signal
from types import FrameType


class Ended(BaseException):
    """The process was asked to end; no `except Exception` stops it.

    Parameters
    ----------
    number : of the signal
    """

    def __init__(self, number: int) -> None:
        super().__init__(signal.Signals(number).name)
        self.number = number

    @property
    def status(self) -> int:
        """Exit status by the shells' convention: 130 for SIGINT, 143 for SIGTERM."""
        return 128 + self.number


def _raise(number: int, _: FrameType | None) -> None:
    # Whoever signals twice does not want to wait for tidying up.
    signal.signal(number, signal.SIG_DFL)
    raise Ended(number)


def raise_on_signals() -> None:
    """Turn SIGINT and SIGTERM into `Ended`; one that the parent ignores stays ignored."""
    for number in (signal.SIGINT, signal.SIGTERM):
        if signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, _raise)
