"""The rain table: depths by duration and frequency, refused unless every cell can be trusted."""

import csv
import io
import math
import re
from pathlib import Path

import numpy as np

from soakline.grid import FloatArray
from soakline.inputs.frequencies import (
    HEADING_ALLOWED,
    StormColumns,
    aep_pct,
    choose_columns,
    choose_frequency,
    parse_frequency,
)
from soakline.inputs.raster_files import require_local_file
from soakline.inputs.types import RainTable
from soakline.problems import InputProblem, InputRefused, ProblemCollector

__all__ = ["StormColumns", "aep_pct", "choose_columns", "choose_frequency", "read_rain_table"]

RAIN_KEY = "rain.table"
TABLE_ALLOWED = "a CSV file: duration_min, then a column of depths in mm for each frequency"
DURATION_ALLOWED = "a duration over 0 min, longer than the one in the row above"
DEPTH_ALLOWED = "a depth over 0 mm and at most 5000 mm"
GREATEST_DEPTH_MM = 5000.0
GREATEST_BYTES = 1_000_000
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")

_Rows = list[tuple[int, list[str]]]


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
    file = str(path)
    header, rows = _split(_text(path), file)
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


def _refused(file: str, where: str, found: str, allowed: str, mend: str = "") -> InputRefused:
    key = f"{RAIN_KEY}, {where}" if where else RAIN_KEY
    return InputRefused([InputProblem(file, key, found, allowed, mend)])


def _text(path: Path) -> str:
    require_local_file(path, RAIN_KEY, TABLE_ALLOWED)
    if path.stat().st_size > GREATEST_BYTES:
        found = f"a file of {path.stat().st_size} bytes"
        raise _refused(str(path), "", found, f"{TABLE_ALLOWED}, under {GREATEST_BYTES} bytes")
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        found = f"a byte that is not UTF-8 text, at position {error.start}"
        mend = "Save it as CSV in UTF-8."
        raise _refused(str(path), "", found, TABLE_ALLOWED, mend) from None
    if "\0" in text:
        raise _refused(str(path), "", "a file that is not text", TABLE_ALLOWED)
    return text


def _split(text: str, file: str) -> tuple[list[str], _Rows]:
    """Header and rows, each with its line number in the file; blank lines and comments left out."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    rows: _Rows = []
    try:
        for row in reader:
            cells = [cell.strip() for cell in row]
            if any(cells) and not cells[0].startswith("#"):
                rows.append((reader.line_num, cells))
    except csv.Error as error:
        raise _refused(file, f"row {reader.line_num}", str(error), TABLE_ALLOWED) from None
    if not rows:
        raise _refused(file, "", "no rows", TABLE_ALLOWED)
    header = rows[0][1]
    for separator, name in ((";", "semicolons"), ("\t", "tabs")):
        if separator in ",".join(header):
            found = f"columns separated by {name}"
            mend = "Save it with commas between columns and points as decimal marks."
            raise _refused(file, f"row {rows[0][0]}", found, TABLE_ALLOWED, mend)
    return header, rows[1:]


def _headings(header: list[str], file: str) -> list[str]:
    """Headings of the depth columns, as text."""
    collector = ProblemCollector()
    if header[0].lower() != "duration_min":
        allowed = "duration_min (durations in minutes) as the first heading"
        with collector.collecting():
            raise _refused(file, "heading 1", f'"{header[0]}"', allowed)
    if len(header) < 2:
        with collector.collecting():
            raise _refused(file, "headings", "no column of depths", TABLE_ALLOWED)
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
        with collector.collecting():
            raise _refused(file, f"heading {number}", found, allowed)
    collector.raise_if_any()
    return header[1:]


def _cells(headings: list[str], rows: _Rows, file: str) -> FloatArray:
    """All figures, (n, 1 + k): durations in min, then depths in mm."""
    if not rows:
        raise _refused(file, "", "headings without rows", TABLE_ALLOWED)
    columns = ["duration_min", *headings]
    collector = ProblemCollector()
    cells = np.full((len(rows), len(columns)), math.nan)
    for at, (line, row) in enumerate(rows):
        if len(row) > len(columns):
            found = f"{len(row)} cells under {len(columns)} headings"
            mend = "If decimals are written with a comma, write them with a point."
            allowed = "a cell for each heading"
            collector.add(InputProblem(file, f"{RAIN_KEY}, row {line}", found, allowed, mend))
            continue
        padded = row + [""] * (len(columns) - len(row))
        for number, (column, text) in enumerate(zip(columns, padded, strict=True)):
            problem = _cell_problem(text, number == 0)
            if problem:
                found, mend = problem
                where = f"{RAIN_KEY}, row {line}, column {column}"
                allowed = "a duration over 0 min" if number == 0 else DEPTH_ALLOWED
                collector.add(InputProblem(file, where, found, allowed, mend))
            else:
                cells[at, number] = float(text)
    collector.raise_if_any()
    return cells


def _cell_problem(text: str, is_duration: bool) -> tuple[str, str] | None:
    """What is wrong with a cell and how to mend it; None if it holds a good figure."""
    if not text:
        return "an empty cell", "Leave out durations and frequencies that have no depth."
    if re.fullmatch(r"\d+,\d+", text):
        return f'"{text}"', "Write decimals with a point."
    if not _NUMBER.fullmatch(text):
        return f'"{text}"', ""
    figure = float(text)
    unit = "min" if is_duration else "mm"
    if not 0.0 < figure < math.inf or (not is_duration and figure > GREATEST_DEPTH_MM):
        return f"{text} {unit}", ""
    return None


def _check_rising(table: RainTable, lines: list[int], file: str) -> None:
    """Refuse durations that do not rise, and depths that fall with duration or with rarity.

    Equal depths pass: published tables are rounded.
    """
    collector = ProblemCollector()
    duration, depth = table.duration_min, table.depth_mm
    for at in range(1, len(lines)):
        if duration[at] <= duration[at - 1]:
            found = f"{duration[at]:g} min after {duration[at - 1]:g} min"
            where = f"{RAIN_KEY}, row {lines[at]}, column duration_min"
            collector.add(InputProblem(file, where, found, DURATION_ALLOWED))
        for k, heading in enumerate(table.frequency):
            if duration[at] > duration[at - 1] and depth[at, k] < depth[at - 1, k]:
                found = f"{depth[at, k]:g} mm, less than {depth[at - 1, k]:g} mm in the row above"
                where = f"{RAIN_KEY}, row {lines[at]}, column {heading}"
                collector.add(InputProblem(file, where, found, "depths that rise with duration"))
    for at, line in enumerate(lines):
        for k in range(1, len(table.frequency)):
            if depth[at, k] < depth[at, k - 1]:
                found = (
                    f"{depth[at, k]:g} mm, less than {depth[at, k - 1]:g} mm in the more frequent "
                    f"column {table.frequency[k - 1]}"
                )
                where = f"{RAIN_KEY}, row {line}, column {table.frequency[k]}"
                collector.add(InputProblem(file, where, found, "depths that rise with rarity"))
    collector.raise_if_any()
