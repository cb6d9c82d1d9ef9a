"""What a run tells while it works: events from the stages, for the terminal and the log."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Literal

EventKind = Literal["started", "advanced", "finished", "message"]
Level = Literal["info", "note", "caution", "stop", "error"]

STEP = 0.01
"""Smallest advance that is told: kernels may report as often as they like."""


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happened.

    Parameters
    ----------
    kind : `started`, `advanced`, `finished` (of a stage) or `message`
    stage : name of the innermost stage at work; empty between stages
    cells : grid cells that the stage works on; 0 where it does not work on the grid
    fraction : share of the stage that is done, 0 to 1
    seconds : since the stage started
    level : of a message: `info`, the severity of a finding, or `error`
    text : of a message
    """

    kind: EventKind
    stage: str = ""
    cells: int = 0
    fraction: float = 0.0
    seconds: float = 0.0
    level: Level = "info"
    text: str = ""


@dataclass(slots=True)
class Stage:
    """A stage at work; made by `Progress.stage`."""

    name: str
    cells: int
    tell: Callable[[Event], None]
    began: float = field(default_factory=time.perf_counter)
    told: float = 0.0

    @property
    def seconds(self) -> float:
        """Time since the stage started, s."""
        return time.perf_counter() - self.began

    def advanced(self, fraction: float) -> None:
        """Report the share of the stage that is done, 0 to 1."""
        fraction = min(max(fraction, 0.0), 1.0)
        if fraction - self.told >= STEP or (fraction == 1.0 and self.told < 1.0):
            self.told = fraction
            self.tell(Event("advanced", self.name, self.cells, fraction, self.seconds))


@dataclass(slots=True)
class Progress:
    """Hands the stages' events to whoever listens: terminal, log, both or nobody.

    Examples
    --------
    >>> told = []
    >>> progress = Progress((told.append,))
    >>> with progress.stage("terrain", cells=10_000) as stage:
    ...     stage.advanced(0.5)
    >>> [(event.kind, event.fraction) for event in told]
    [('started', 0.0), ('advanced', 0.5), ('finished', 1.0)]
    """

    listeners: tuple[Callable[[Event], None], ...] = ()
    timings_s: dict[str, float] = field(default_factory=dict)
    """Seconds by finished stage, in order; a stage that ran twice has its sum."""
    _at_work: list[Stage] = field(default_factory=list)

    def _tell(self, event: Event) -> None:
        for listener in self.listeners:
            listener(event)

    @contextmanager
    def stage(self, name: str, cells: int = 0) -> Iterator[Stage]:
        """Tell that a stage starts, and that it is finished when the block ends without an error.

        Parameters
        ----------
        name : as the user should read it: "terrain"
        cells : grid cells it works on; 0 where the grid does not matter
        """
        stage = Stage(name, cells, self._tell)
        self._at_work.append(stage)
        self._tell(Event("started", name, cells))
        try:
            yield stage
            self.timings_s[name] = self.timings_s.get(name, 0.0) + stage.seconds
            self._tell(Event("finished", name, cells, 1.0, stage.seconds))
        finally:
            self._at_work.remove(stage)

    def advanced(self, fraction: float) -> None:
        """Report for the innermost stage at work; nothing happens between stages."""
        if self._at_work:
            self._at_work[-1].advanced(fraction)

    def message(self, level: Level, text: str) -> None:
        """Tell the user something in passing: one line."""
        stage = self._at_work[-1] if self._at_work else None
        name, cells = (stage.name, stage.cells) if stage else ("", 0)
        fraction, seconds = (stage.told, stage.seconds) if stage else (0.0, 0.0)
        self._tell(Event("message", name, cells, fraction, seconds, level, text))
