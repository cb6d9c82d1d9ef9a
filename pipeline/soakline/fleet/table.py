"""The summary on stdout: a table for reading, or JSON."""

import json
from pathlib import Path
from typing import Any

from soakline.fleet.rows import SHOWN, Row, counts

FORMAT_VERSION = 1
_HEADINGS = (
    "property", "status", "ha", "swales", "length m", "capacity m³", "cut m³", "stop", "caution",
    "note", "s", "message",
)  # fmt: skip
_LEFT = ("property", "status", "message")


def totals(rows: list[Row]) -> dict[str, Any]:
    """Sums over the properties that have a plan."""
    plans = [row.outcome.figures for row in rows if row.outcome and row.outcome.figures]
    return {key: sum(getattr(plan, key) for plan in plans) for key in SHOWN}


def as_json(rows: list[Row], summary: Path, seconds: float) -> str:
    """One object: `format_version`, `summary`, `seconds`, `counts`, `totals`, `properties`."""
    facts = {
        "format_version": FORMAT_VERSION,
        "summary": str(summary),
        "seconds": round(seconds, 3),
        "counts": counts(rows),
        "totals": totals(rows),
        "properties": [row.values(summary.parent) for row in rows],
    }
    return json.dumps(facts, indent=2, ensure_ascii=False)


def as_text(rows: list[Row], summary: Path, seconds: float) -> str:
    """A row a property, then how many came to what."""
    lines = [_HEADINGS, *(_cells(row, summary.parent) for row in rows), _last(rows)]
    widths = [max(len(line[i]) for line in lines) for i in range(len(_HEADINGS))]
    table = [
        "  ".join(
            cell.ljust(width) if heading in _LEFT else cell.rjust(width)
            for heading, cell, width in zip(_HEADINGS, line, widths, strict=True)
        ).rstrip()
        for line in lines
    ]
    parts = ", ".join(f"{count} {status}" for status, count in counts(rows).items())
    return "\n".join(
        [*table, "", f"{len(rows)} properties in {seconds:.0f} s: {parts}", f"{summary}"]
    )


def _cells(row: Row, folder: Path) -> tuple[str, ...]:
    values = row.values(folder)
    seconds = "" if values["seconds"] is None else f"{values['seconds']:.1f}"
    status = row.status + (" (kept)" if values["kept"] else "")
    figures = (_figure(key, values[key]) for key in SHOWN)
    return (row.property_id, status, *figures, seconds, row.message)


def _last(rows: list[Row]) -> tuple[str, ...]:
    sums = totals(rows)
    return ("all", "", *(_figure(key, sums[key]) for key in SHOWN), "", "")


def _figure(key: str, value: float | None) -> str:
    if value is None:
        return ""
    return f"{value / 1e4:,.2f}" if key == "area_m2" else f"{value:,.0f}"
