"""What earlier runs of a fleet have made: one line of JSON a plan, so that a kill loses none."""

import json
import os
from pathlib import Path

from soakline.fleet.outcome import Outcome, outcome_of


def read_state(file: Path) -> dict[str, Outcome]:
    """Outcomes of finished plans by property, the last one of each.

    Parameters
    ----------
    file : need not be there; a line that was cut short, or is of another version, is passed over
    """
    kept: dict[str, Outcome] = {}
    if not file.is_file():
        return kept
    for line in file.read_text(encoding="utf-8", errors="replace").splitlines():
        try:
            row = json.loads(line)
            kept[str(row["property_id"])] = outcome_of(row["outcome"])
        except (KeyError, TypeError, ValueError):
            continue
    return kept


def add_to_state(file: Path, property_id: str, outcome: Outcome) -> None:
    """Add a finished plan; the line is on the disk when this returns.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    line = json.dumps({"property_id": property_id, "outcome": outcome.as_dict()})
    with file.open("a+b") as lines:
        # The last line may have been cut short by a kill.
        if lines.tell() and _last_byte(lines.fileno(), lines.tell()) != b"\n":
            lines.write(b"\n")
        lines.write(line.encode() + b"\n")
        lines.flush()
        os.fsync(lines.fileno())


def _last_byte(descriptor: int, size: int) -> bytes:
    return os.pread(descriptor, 1, size - 1)
