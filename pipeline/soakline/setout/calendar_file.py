"""The calendar of a finished plan as an iCalendar file (RFC 5545), for any calendar program."""

import hashlib
from datetime import UTC, date, datetime
from pathlib import Path

import icalendar
import pandas as pd

from soakline import __version__
from soakline.outputs.whole_file import written_whole
from soakline.plan_file import read_tables
from soakline.problems import InputRefused

ENDING = "-calendar.ics"
_COLUMNS = {
    "calendar": ("year", "month", "task", "where", "amount", "unit", "advice"),
    "run_record": ("key", "value"),
    "property": ("name",),
}
_BYTES_AN_EVENT = 2000


def calendar_path(plan: Path) -> Path:
    """Where a plan's calendar goes.

    Examples
    --------
    >>> calendar_path(Path("farm.gpkg")).name
    'farm-calendar.ics'
    """
    return plan.with_name(plan.stem + ENDING)


def write_calendar(plan: Path, first_year: int) -> Path | None:
    """Write a plan's calendar beside it, whole or not at all.

    Parameters
    ----------
    plan : a finished plan
    first_year : of our calendar, in which swales are first dug

    Returns
    -------
    the file; None where the plan has no calendar, since no weather was named

    Raises
    ------
    InputRefused
        If it is no plan, or the file cannot be written.
    """
    tables, problems = read_tables(plan, _COLUMNS, lambda name: name == "property")
    if problems:
        raise InputRefused(problems)
    rows = tables["calendar"]
    if rows.empty:
        return None
    record = tables["run_record"].set_index("key")["value"]
    name = str(tables["property"]["name"].iloc[0])
    content = calendar_of(rows, first_year, name, datetime.fromisoformat(record["finished"]))
    target = calendar_path(plan)
    with written_whole(target, _BYTES_AN_EVENT * len(rows)) as path:
        path.write_bytes(content.to_ical())
    return target


def calendar_of(
    rows: pd.DataFrame, first_year: int, name: str, made: datetime
) -> icalendar.Calendar:
    """Rows of `calendar` as events that each fill a month.

    Parameters
    ----------
    rows : with the columns of the table
    first_year : of our calendar, for year 1
    name : of the property
    made : when the plan was made

    Notes
    -----
    RFC 5545: PRODID, VERSION, and for each VEVENT a UID, DTSTAMP in UTC, DTSTART and an exclusive
    DTEND as dates. A task has the same UID whenever the file is written again from the same plan,
    so that a calendar program replaces it.
    """
    calendar = icalendar.Calendar()
    calendar.add("prodid", f"-//soakline//soakline {__version__}//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", f"Swales: {name}")
    for row in rows.to_dict("records"):
        year, month = first_year + int(row["year"]) - 1, int(row["month"])
        event = icalendar.Event()
        told = f"{name}|{row['year']}|{month}|{row['task']}|{row['where']}"
        event.add("uid", f"{hashlib.sha256(told.encode()).hexdigest()[:32]}@soakline")
        event.add("dtstamp", made.astimezone(UTC))
        event.add("dtstart", date(year, month, 1))
        event.add("dtend", date(year + month // 12, month % 12 + 1, 1))
        event.add("summary", f"{row['task'].capitalize()}: {row['amount']:.0f} {row['unit']}")
        event.add("location", row["where"])
        event.add("description", row["advice"])
        event.add("transp", "TRANSPARENT")
        calendar.add_component(event)
    return calendar
