"""Cells of the CSV files that are written, so that a spreadsheet takes text for text."""

import re
from typing import TypeVar

import pandas as pd

Cell = TypeVar("Cell")

_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")
_FIGURE = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")


def plain_cell(cell: Cell) -> Cell | str:
    """A cell that no spreadsheet runs: text that starts as a formula gets an apostrophe before it.

    Numbers stay as they are, as text too.

    Examples
    --------
    >>> plain_cell("=HYPERLINK(1)"), plain_cell("-1.5"), plain_cell("S001"), plain_cell(-1.5)
    ("'=HYPERLINK(1)", '-1.5', 'S001', -1.5)
    """
    if isinstance(cell, str) and cell.startswith(_STARTS) and not _FIGURE.fullmatch(cell):
        return f"'{cell}"
    return cell


def plain_cells(table: pd.DataFrame) -> pd.DataFrame:
    """The same table with every cell of text as `plain_cell` has it."""
    return table.map(plain_cell)
