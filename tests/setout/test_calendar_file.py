"""The calendar as an iCalendar file: read back by the library, as RFC 5545 has it."""

from datetime import UTC, date, datetime

import icalendar
import pandas as pd

from soakline.setout.calendar_file import calendar_of

MADE = datetime(2026, 11, 3, 9, 30, tzinfo=UTC)
ROWS = pd.DataFrame(
    {
        "year": [1, 1, 3],
        "month": [1, 12, 5],
        "task": ["dig", "seed bare earth", "plant fruit trees"],
        "where": ["S001, S002", "all 2 swales", "S001"],
        "amount": [1234.4, 0.6, 28.0],
        "unit": ["m³", "m²", "trees"],
        "advice": ["first; then, \\ and\nmore " * 9, "after rain", "guard them"],
    }
)


def text() -> bytes:
    return calendar_of(ROWS, 2027, "Ninefold; Ridge, east", MADE).to_ical()


def test_each_row_is_an_event_of_a_month() -> None:
    calendar = icalendar.Calendar.from_ical(text())
    events = calendar.walk("VEVENT")
    assert len(events) == len(ROWS)
    spans = [(event.decoded("dtstart"), event.decoded("dtend")) for event in events]
    assert spans == [
        (date(2027, 1, 1), date(2027, 2, 1)),
        (date(2027, 12, 1), date(2028, 1, 1)),
        (date(2029, 5, 1), date(2029, 6, 1)),
    ]
    assert str(events[0]["summary"]) == "Dig: 1234 m³"
    assert str(events[0]["location"]) == "S001, S002"
    assert str(events[0]["description"]) == ROWS.advice[0]
    assert calendar["x-wr-calname"] == "Swales: Ninefold; Ridge, east"


def test_what_rfc_5545_asks_of_every_calendar_is_there() -> None:
    calendar = icalendar.Calendar.from_ical(text())
    assert calendar["version"] == "2.0"
    assert calendar["prodid"].startswith("-//soakline//")
    events = calendar.walk("VEVENT")
    assert len({str(event["uid"]) for event in events}) == len(events)
    for event in events:
        assert event.decoded("dtstamp") == MADE
        assert event["dtstart"].params["VALUE"] == "DATE"
    # Section 3.1: lines end in CRLF and have 75 octets at most.
    lines = text().split(b"\r\n")
    assert lines[-1] == b""
    assert not any(b"\n" in line or b"\r" in line for line in lines)
    assert max(map(len, lines)) <= 75


def test_the_same_plan_gives_the_same_file() -> None:
    assert text() == text()
