"""All properties of a fleet as rows, for the page, the table and the GeoPackage alike."""

from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from soakline.fleet.outcome import Figures, Outcome

SHOWN = ("area_m2", "swales", "length_m", "capacity_m3", "cut_m3", "stops", "cautions", "notes")
"""Figures of a plan in the order in which they are shown."""


@dataclass(slots=True)
class Row:
    """One property while the fleet runs.

    Parameters
    ----------
    property_id : of the list
    run_file, plan : absolute
    doing : `waiting`, `running`, `waiting again` or, once there is an outcome, `ended`
    attempts : begun
    outcome : None until it has ended; while it waits again, that of the attempt before
    """

    property_id: str
    run_file: Path
    plan: Path
    doing: str = "waiting"
    attempts: int = 0
    outcome: Outcome | None = None

    @property
    def status(self) -> str:
        """The outcome's, else what it is doing."""
        return self.outcome.status if self.outcome and self.doing == "ended" else self.doing

    @property
    def message(self) -> str:
        """Why there is no plan, or why it waits again."""
        return self.outcome.message if self.outcome else ""

    def values(self, folder: Path) -> dict[str, Any]:
        """The row by column, its plan's place told from `folder`; null where there is no plan."""
        outcome = self.outcome
        figures = outcome.figures if outcome else None
        own = {
            field.name: getattr(figures, field.name) if figures else None
            for field in fields(Figures)
            if field.name != "boundary_wkb"
        }
        return {
            "property_id": self.property_id,
            "name": own.pop("name"),
            "status": self.status,
            **own,
            "seconds": round(outcome.seconds, 3) if outcome else None,
            "attempts": self.attempts,
            "kept": bool(outcome and outcome.kept),
            "message": self.message or None,
            "run_file": str(self.run_file),
            "plan": self.plan.relative_to(folder).as_posix() if figures else None,
        }


def counts(rows: list[Row]) -> dict[str, int]:
    """Number of properties by status."""
    found: dict[str, int] = {}
    for row in rows:
        found[row.status] = found.get(row.status, 0) + 1
    return found
