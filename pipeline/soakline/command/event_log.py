"""The log: one JSON object a line for each event."""

import json
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
    """

    def __init__(self, file: Path | None) -> None:
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
        if self._lines is not None:
            self._lines.close()

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
        self._lines.write(json.dumps(line, ensure_ascii=False) + "\n")
