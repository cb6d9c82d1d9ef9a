"""The rain table: depths by duration and frequency, refused unless every cell can be trusted."""

import math
from pathlib import Path

import numpy as np

from soakline.grid import FloatArray
from soakline.inputs.csv_rows import CsvFile, Rows, figure_of, is_decimal_comma
from soakline.inputs.frequencies import (
    HEADING_ALLOWED,
    StormColumns,
    aep_pct,
    choose_columns,
    choose_frequency,
    parse_frequency,
)
from soakline.inputs.types import RainTable
from soakline.problems import ProblemCollector

__all__ = ["StormColumns", "aep_pct", "choose_columns", "choose_frequency", "read_rain_table"]

RAIN_KEY = "rain.table"
TABLE_ALLOWED = "a CSV file: duration_min, then a column of depths in mm for each frequency"
DURATION_ALLOWED = "a duration over 0 min, longer than the one in the row above"
DEPTH_ALLOWED = "a depth over 0 mm and at most 5000 mm"
GREATEST_DEPTH_MM = 5000.0


def read_rain_table(path: Path) -> RainTable:
    """Read a rain table.

    Parameters
    ----------
    path : CSV file in UTF-8, comma-separated, decimal points; lines that start with # are comments

    Returns
    -------
    The table, its columns in order of rarity, the most frequent first, whatever their order in the
    file.

    Raises
    ------
    InputRefused
        With every cell that is no depth, and every depth that falls where it must rise.
    """
    file = CsvFile(path, RAIN_KEY, TABLE_ALLOWED)
    header, rows = file.read()
    headings = _headings(header, file)
    cells = _cells(headings, rows, file)
    order = sorted(range(len(headings)), key=lambda k: -aep_pct(headings[k]))
    table = RainTable(
        duration_min=cells[:, 0],
        frequency=tuple(headings[k] for k in order),
        depth_mm=np.ascontiguousarray(cells[:, 1:][:, order]),
    )
    _check_rising(table, [line for line, _ in rows], file)
    return table


def _headings(header: list[str], file: CsvFile) -> list[str]:
    """Headings of the depth columns, as text."""
    collector = ProblemCollector()
    if header[0].lower() != "duration_min":
        allowed = "duration_min (durations in minutes) as the first heading"
        collector.add(file.problem("heading 1", f'"{header[0]}"', allowed))
    if len(header) < 2:
        collector.add(file.problem("headings", "no column of depths"))
    seen: dict[object, str] = {}
    for number, heading in enumerate(header[1:], start=2):
        frequency = parse_frequency(heading)
        if frequency is None:
            found, allowed = f'"{heading}"', HEADING_ALLOWED
        elif frequency in seen:
            found, allowed = f'"{heading}" again', "each frequency once"
        else:
            seen[frequency] = heading
            continue
        collector.add(file.problem(f"heading {number}", found, allowed))
    collector.raise_if_any()
    return header[1:]


def _cells(headings: list[str], rows: Rows, file: CsvFile) -> FloatArray:
    """All figures, (n, 1 + k): durations in min, then depths in mm."""
    if not rows:
        raise file.refused("", "headings without rows")
    columns = ["duration_min", *headings]
    collector = ProblemCollector()
    cells = np.full((len(rows), len(columns)), math.nan)
    for at, (line, row) in enumerate(rows):
        if len(row) > len(columns):
            found = f"{len(row)} cells under {len(columns)} headings"
            mend = "If decimals are written with a comma, write them with a point."
            collector.add(file.problem(f"row {line}", found, "a cell for each heading", mend))
            continue
        padded = row + [""] * (len(columns) - len(row))
        for number, (column, text) in enumerate(zip(columns, padded, strict=True)):
            problem = _cell_problem(text, number == 0)
            if problem:
                found, mend = problem
                allowed = "a duration over 0 min" if number == 0 else DEPTH_ALLOWED
                collector.add(file.problem(f"row {line}, column {column}", found, allowed, mend))
            else:
                cells[at, number] = float(text)
    collector.raise_if_any()
    return cells


def _cell_problem(text: str, is_duration: bool) -> tuple[str, str] | None:
    """What is wrong with a cell and how to mend it; None if it holds a good figure."""
    if not text:
        return "an empty cell", "Leave out durations and frequencies that have no depth."
    if is_decimal_comma(text):
        return f'"{text}"', "Write decimals with a point."
    figure = figure_of(text)
    if figure is None:
        return f'"{text}"', ""
    unit = "min" if is_duration else "mm"
    if not 0.0 < figure < math.inf or (not is_duration and figure > GREATEST_DEPTH_MM):
        return f"{text} {unit}", ""
    return None


def _check_rising(table: RainTable, lines: list[int], file: CsvFile) -> None:
    """Refuse durations that do not rise, and depths that fall with duration or with rarity.

    Equal depths pass: published tables are rounded.
    """
    collector = ProblemCollector()
    duration, depth = table.duration_min, table.depth_mm
    for at in range(1, len(lines)):
        if duration[at] <= duration[at - 1]:
            found = f"{duration[at]:g} min after {duration[at - 1]:g} min"
            where = f"row {lines[at]}, column duration_min"
            collector.add(file.problem(where, found, DURATION_ALLOWED))
        for k, heading in enumerate(table.frequency):
            if duration[at] > duration[at - 1] and depth[at, k] < depth[at - 1, k]:
                found = f"{depth[at, k]:g} mm, less than {depth[at - 1, k]:g} mm in the row above"
                where = f"row {lines[at]}, column {heading}"
                collector.add(file.problem(where, found, "depths that rise with duration"))
    for at, line in enumerate(lines):
        for k in range(1, len(table.frequency)):
            if depth[at, k] < depth[at, k - 1]:
                found = (
                    f"{depth[at, k]:g} mm, less than {depth[at, k - 1]:g} mm in the more frequent "
                    f"column {table.frequency[k - 1]}"
                )
                where = f"row {line}, column {table.frequency[k]}"
                collector.add(file.problem(where, found, "depths that rise with rarity"))
    collector.raise_if_any()
