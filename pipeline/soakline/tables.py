"""Finds and reads the tables in `config/`, in a checkout and in an installed wheel alike."""

import csv
from functools import cache
from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def folder() -> Path:
    """Folder of the tables: `config/` inside the package (wheel), else at the checkout's root."""
    shipped = _PACKAGE / "config"
    return shipped if shipped.is_dir() else _PACKAGE.parents[1] / "config"


def table(name: str) -> Path:
    """Path of a table, such as `curve_numbers.csv`.

    Raises
    ------
    FileNotFoundError
        If this version ships no such table.
    """
    path = folder() / name
    if not path.is_file():
        raise FileNotFoundError(f"no table {name} in {folder()}")
    return path


def rows(name: str) -> list[dict[str, str]]:
    """Rows of a CSV table as text by column; lines that start with `#` are comments."""
    with table(name).open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(line for line in lines if not line.startswith("#")))


@cache
def names(name: str, column: str) -> tuple[str, ...]:
    """Different values of one column, in the table's order."""
    return tuple(dict.fromkeys(row[column] for row in rows(name)))


@cache
def curve_numbers() -> dict[str, dict[str, float]]:
    """Curve numbers by cover, such as `pasture-fair`, and hydrologic group, A to D.

    Returns
    -------
    cover to group to curve number
    """
    return {
        row["cover"]: {group: float(row[group]) for group in "ABCD" if row[group]}
        for row in rows("curve_numbers.csv")
    }
