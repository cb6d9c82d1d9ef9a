"""How figures, lists and columns are printed on a terminal of 100 columns."""

import math
import re
import textwrap
from collections.abc import Sequence

import pandas as pd

from soakline.compare.items import decimals

WIDTH = 100
GAP = "  "


def figure(value: float, unit: str) -> str:
    """A figure to the places of its unit; a dash for null."""
    # Adding 0 takes the sign from a figure that is 0 as printed.
    return "–" if math.isnan(value) else f"{round(value, decimals(unit)) + 0.0:,.{decimals(unit)}f}"


def change(value: float, unit: str) -> str:
    """A change with its sign; empty for null and for what is 0 as printed."""
    text = "" if math.isnan(value) else f"{value:+,.{decimals(unit)}f}"
    return text if text.strip("+-0.,") else ""


def changed(frame: pd.DataFrame) -> "pd.Series[bool]":
    """Whether a change shows as printed, or a figure is null on one side only.

    Parameters
    ----------
    frame : unit, a, b, change
    """
    step = pd.Series([0.5 * 10.0 ** -decimals(unit) for unit in frame["unit"]], frame.index)
    return (frame["change"].abs() > step) | (frame["a"].isna() != frame["b"].isna())


def figures(frame: pd.DataFrame) -> list[tuple[str, float, float, float, float]]:
    """Rows of a frame: unit, a, b, change, change_pct."""
    names = ("unit", "a", "b", "change", "change_pct")
    return list(zip(*(frame[name].to_list() for name in names), strict=True))


def grid(rows: Sequence[Sequence[str]], left: int) -> list[str]:
    """Rows in columns as wide as they need; the first `left` columns are flush left."""
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    return [
        GAP.join(
            cell.ljust(width) if i < left else cell.rjust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]


def wrapped(text: str, indent: str = "") -> list[str]:
    """Lines of one sentence, the later ones indented."""
    return textwrap.wrap(
        text, WIDTH, initial_indent=indent, subsequent_indent=indent + GAP, break_on_hyphens=False
    )


def cut(text: str, width: int) -> str:
    """One line of at most `width` characters; checksums are told by their first twelve.

    Examples
    --------
    >>> cut("rain.csv " + 64 * "a", 40)
    'rain.csv aaaaaaaaaaaa…'
    """
    short = re.sub(r"\b([0-9a-f]{12})[0-9a-f]{52}\b", r"\1…", " ".join(text.split()))
    return short if len(short) <= width else f"{short[: width - 1]}…"
