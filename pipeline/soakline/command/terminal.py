"""What the user sees while a command runs: bars on a terminal, plain lines elsewhere."""

import os
from types import TracebackType
from typing import IO, Self

from rich.console import Console
from rich.progress import (
    BarColumn,
    Progress,
    TaskID,
    TaskProgressColumn,
    TextColumn,
    TimeElapsedColumn,
    TimeRemainingColumn,
)
from rich.text import Text

from soakline.quiet import copy_of, nowhere
from soakline.stages.progress import Event


def _copy_of_stderr() -> IO[str]:
    """A stream on a copy of descriptor 2, which `soakline.quiet` does not switch off."""
    copy = copy_of(2)
    if copy is None:  # closed: nobody listens
        copy = nowhere()
    return os.fdopen(copy, "w", encoding="utf-8", errors="replace", buffering=1)


def _cells(cells: int) -> str:
    return f"{cells:,} cells" if cells else ""


class Terminal:
    """Shows events on stderr.

    Parameters
    ----------
    quiet : show nothing but what `say` is given
    """

    def __init__(self, quiet: bool) -> None:
        self._stream = _copy_of_stderr()
        self._quiet = quiet
        self._console = Console(file=self._stream, highlight=False, markup=False, soft_wrap=True)
        self._bars: Progress | None = None
        self._tasks: dict[str, TaskID] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.stop_bars()
        self._stream.close()

    @property
    def _draws_bars(self) -> bool:
        return self._console.is_terminal and not self._console.is_dumb_terminal

    def say(self, text: str) -> None:
        """Print a line, or several, whatever `--quiet` says."""
        if self._draws_bars:
            self._console.print(Text(text))
        else:
            self._stream.write(text + "\n")

    def stop_bars(self) -> None:
        """Leave the bars as they stand; what follows is printed below them."""
        if self._bars is not None:
            self._bars.stop()
            self._bars = None

    def show(self, event: Event) -> None:
        """Show one event."""
        if self._quiet:
            return
        if event.kind == "message":
            prefix = "" if event.level == "info" else f"{event.level}: "
            self.say(prefix + event.text)
        elif self._draws_bars:
            self._draw(event)
        elif event.kind == "started":
            self.say(f"{event.stage}: {_cells(event.cells)}".rstrip(": "))
        elif event.kind == "finished":
            self.say(f"{event.stage}: done in {event.seconds:.1f} s")

    def _draw(self, event: Event) -> None:
        if self._bars is None:
            self._bars = Progress(
                TextColumn("{task.description}"),
                BarColumn(),
                TaskProgressColumn(),
                TextColumn("{task.fields[cells]}"),
                TimeElapsedColumn(),
                TimeRemainingColumn(),
                console=self._console,
                redirect_stdout=False,
                redirect_stderr=False,
            )
            self._bars.start()
        if event.kind == "started":
            # Without a total the bar only swings: true until the stage tells its share.
            self._tasks[event.stage] = self._bars.add_task(
                event.stage, total=None, cells=_cells(event.cells)
            )
        elif event.stage in self._tasks:
            task = self._tasks[event.stage]
            self._bars.update(task, total=1.0, completed=event.fraction)
            if event.kind == "finished":
                self._bars.stop_task(task)
