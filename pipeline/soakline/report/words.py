"""Figures as people read them: rounded by what they measure, with their unit."""

import math
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from typing import Any

import pandas as pd

from soakline.outputs.columns import SCHEMAS
from soakline.outputs.schema import Column

NONE = "–"
MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip
_THIN = "\u202f"
_MINUS = "\u2212"
# Decimals by the end of a column's name, the longest end first.
_DECIMALS = (
    ("_m3s", 3), ("_ms", 2), ("_m3", 0), ("_m2", 0), ("_mm_h", 1), ("_mm", 1), ("_pct", 1),
    ("_h", 1), ("_min", 0), ("length_m", 1), ("chainage_m", 1), ("_m", 2), ("batter", 2),
    ("cost", 0),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of the report.

    Parameters
    ----------
    title : what it is
    text : the figure with its unit
    about : how it is meant
    """

    title: str
    text: str
    about: str = ""


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell of a table: what is read, and what it is sorted by."""

    text: str
    key: str
    number: bool = False
    link: str = ""


@dataclass(frozen=True, slots=True)
class Head:
    """Head of a table's column; the unit of all its figures stands there."""

    title: str
    unit: str = ""
    about: str = ""
    number: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """A table to read.

    Parameters
    ----------
    key : its name in the page
    caption : what it tells
    heads, rows : as many cells in a row as there are heads; the first names the row
    """

    key: str
    caption: str
    heads: tuple[Head, ...]
    rows: tuple[tuple[Cell, ...], ...]


@cache
def column_of(layer: str, name: str) -> Column:
    """A column of the plan by its layer and name."""
    return next(column for column in SCHEMAS[layer].columns if column.name == name)


def decimals_of(name: str) -> int:
    """How many decimals the figures of a column are worth to a reader."""
    return next((places for end, places in _DECIMALS if name.endswith(end)), 2)


def number(value: Any, places: int) -> str:
    r"""A number with thin spaces between thousands; a dash where there is none.

    Examples
    --------
    >>> number(12345.678, 1).replace("\u202f", " "), number(float("nan"), 1)
    ('12 345.7', '–')
    """
    figure = _float(value)
    if figure is None:
        return NONE
    if places == 0 and 0 < abs(figure) < 10 and figure != round(figure):
        places = 1  # small volumes and areas keep a figure that tells them from nothing
    text = f"{figure:,.{places}f}"
    if not any(letter in "123456789" for letter in text):
        text = text.removeprefix("-")
    return text.replace(",", _THIN).replace("-", _MINUS)


def with_unit(value: Any, name: str, unit: str) -> str:
    """A figure of a column and its unit; a batter as horizontal to vertical."""
    if name == "batter":
        text = number(value, 2)
        return f"{text.rstrip('0').rstrip('.')} : 1" if text != NONE else NONE
    text = number(value, decimals_of(name))
    return f"{text} {unit}" if unit and text != NONE else text


def figure(layer: str, name: str, value: Any) -> Figure:
    """A figure of the plan under its column's title, with unit and description."""
    column = column_of(layer, name)
    if column.kind == "text":
        return Figure(column.title, words(value), column.description)
    if column.kind == "integer":
        return Figure(column.title, number(value, 0), column.description)
    return Figure(column.title, with_unit(value, name, column.unit), column.description)


def missing(value: Any) -> bool:
    """Whether a plan has no value there."""
    return bool(pd.isna(value))


def sentence(text: str) -> str:
    """Words with a capital at their start, and the rest as it is.

    Examples
    --------
    >>> sentence("the DEM ends here")
    'The DEM ends here'
    """
    return text[:1].upper() + text[1:]


def moment(written: str) -> str:
    """A moment of the run record as people write it; what is none stays as it is.

    Examples
    --------
    >>> moment("2026-03-01T04:05:06.789+00:00"), moment("")
    ('1 March 2026, 04:05 UTC', '')
    """
    try:
        at = datetime.fromisoformat(written).astimezone(UTC)
    except ValueError:
        return written
    return f"{at.day} {MONTHS[at.month - 1]} {at.year}, {at:%H:%M} UTC"


def rarity(frequency: str) -> str:
    """How rare a storm is, as the rain table heads it: years have their unit added.

    Examples
    --------
    >>> rarity("10"), rarity("10%")
    ('10 years', '10%')
    """
    return f"{frequency} years" if frequency.replace(".", "", 1).isdigit() else frequency


def words(value: Any) -> str:
    """Text of a value; a dash where there is none."""
    return NONE if missing(value) or str(value) == "" else str(value)


def cell(layer: str, name: str, value: Any) -> Cell:
    """A cell of a column of the plan."""
    column = column_of(layer, name)
    if column.kind == "text":
        return Cell(words(value), words(value))
    figure_ = _float(value)
    key = "" if figure_ is None else f"{figure_:.7g}"
    if column.kind == "integer":
        return Cell(NONE if figure_ is None else f"{figure_:.0f}", key, number=True)
    return Cell(number(value, decimals_of(name)), key, number=True)


def head(layer: str, name: str) -> Head:
    """Head of a column of the plan."""
    column = column_of(layer, name)
    return Head(column.title, column.unit, column.description, number=column.kind != "text")


def plain(value: float, places: int) -> Cell:
    """A cell of a figure that is no column of the plan."""
    text = number(value, places)
    return Cell(text, "" if text == NONE else f"{value:.7g}", number=True)


def _float(value: Any) -> float | None:
    try:
        figure_ = float(value)
    except (TypeError, ValueError):
        return None
    return figure_ if math.isfinite(figure_) else None
