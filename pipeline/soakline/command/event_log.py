"""The log: one JSON object a line for each event."""

import json
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Self

from soakline.problems import InputProblem, InputRefused
from soakline.stages.progress import Event


class EventLog:
    """Writes events as they come, each line whole at once; without a file it does nothing.

    Parameters
    ----------
    file : replaced if it exists; None for no log

    Attributes
    ----------
    lost : why the log ends early, a full disk for one; empty while it does not. No plan is lost
        for the sake of its log.
    """

    def __init__(self, file: Path | None) -> None:
        self.lost = ""
        try:
            # Line by line, so that a log can be followed and survives a kill.
            self._lines = None if file is None else file.open("w", encoding="utf-8", buffering=1)
        except OSError as error:
            found = f"not writable ({error.strerror})"
            raise InputRefused([InputProblem(str(file), "--log", found, "a new file")]) from None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._close()

    def _close(self) -> None:
        if self._lines is not None:
            with suppress(OSError):  # the line that found no room is tried once more
                self._lines.close()
            self._lines = None

    def write(self, event: Event) -> None:
        """Write one event."""
        if self._lines is None:
            return
        line = {
            "time": datetime.now(UTC).isoformat(timespec="milliseconds"),
            "event": event.kind,
            "stage": event.stage,
            "cells": event.cells,
            "fraction": round(event.fraction, 4),
            "seconds": round(event.seconds, 3),
            "level": event.level,
            "message": event.text,
        }
        try:
            self._lines.write(json.dumps(line, ensure_ascii=False) + "\n")
        except OSError as error:
            self.lost = error.strerror or str(error)
            self._close()
