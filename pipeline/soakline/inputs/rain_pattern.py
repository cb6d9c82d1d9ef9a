"""A rain pattern of one's own: how a storm's depth builds up over its duration, from a CSV file."""

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from soakline.findings import Finding
from soakline.grid import FloatArray
from soakline.inputs.csv_rows import CsvFile, Rows, figure_of, is_decimal_comma
from soakline.problems import ProblemCollector

PATTERN_KEY = "rain.pattern"
FORMS = ("cumulative_share", "incremental_share")
PATTERN_ALLOWED = f"a CSV file of two columns: duration_share, then {' or '.join(FORMS)}"
SHARE_ALLOWED = "a share from 0 to 1 (no unit)"
TIME_ALLOWED = "shares of the duration from 0 to 1 that rise from row to row and end at 1 (no unit)"
SUM_TOLERANCE = 1e-3
"""Shares that miss a sum of 1 by no more are taken for rounded, and scaled."""
_ROUNDING = 1e-9


@dataclass(frozen=True, eq=False, slots=True)
class RainPattern:
    """Share of a storm's depth that has fallen by each share of its duration.

    Parameters
    ----------
    duration_share : (n,) rising from 0 to 1; rain is steady between them
    cumulative_share : (n,) from 0 to 1, never falling
    """

    duration_share: FloatArray
    cumulative_share: FloatArray


def read_rain_pattern(path: Path) -> tuple[RainPattern, tuple[Finding, ...]]:
    """Read a pattern.

    Parameters
    ----------
    path : CSV file in UTF-8, comma-separated, decimal points; lines that start with # are comments.
        First column `duration_share`, the share of the duration at which a row ends, rising to 1.
        Second column `cumulative_share`, of the depth fallen by then, or `incremental_share`, of
        the depth fallen since the row above.

    Returns
    -------
    The pattern; and a note where its shares missed a sum of 1 by a rounding and were scaled.

    Raises
    ------
    InputRefused
        With every cell that is no share, every share that falls where it must rise, and a sum that
        is not 1.
    """
    file = CsvFile(path, PATTERN_KEY, PATTERN_ALLOWED)
    header, rows = file.read()
    form = _form(header, file)
    cells = _cells(form, rows, file)
    lines = [line for line, _ in rows]
    time, share = cells[:, 0], cells[:, 1]
    _check_times(time, lines, file)
    if form == "cumulative_share":
        _check_cumulative(share, lines, file)
        fallen = share
    else:
        fallen = np.cumsum(share)
    if time[0] > 0.0:
        time, fallen = np.insert(time, 0, 0.0), np.insert(fallen, 0, 0.0)
    elif fallen[0] > 0.0:
        found = f"{fallen[0]:g} fallen at a duration_share of 0"
        raise file.refused(f"row {lines[0]}, column {form}", found, "0, before any rain has fallen")
    total = float(fallen[-1])
    _check_sum(total, form, file)
    findings = (_scaled(path, total),) if abs(total - 1.0) > _ROUNDING else ()
    # Scaled and cut, so that a sum a few units in the last place off is 1 as well.
    whole = np.minimum(fallen / total, 1.0)
    time[-1] = whole[-1] = 1.0
    return RainPattern(np.ascontiguousarray(time), whole), findings


def _form(header: list[str], file: CsvFile) -> str:
    """Which of the two forms the shares have."""
    collector = ProblemCollector()
    if header[0].lower() != "duration_share":
        allowed = "duration_share (shares of the duration, 0 to 1) as the first heading"
        collector.add(file.problem("heading 1", f'"{header[0]}"', allowed))
    if len(header) != 2:
        collector.add(file.problem("headings", f"{len(header)} columns"))
    elif header[1].lower() not in FORMS:
        allowed = f"{' or '.join(FORMS)} as the second heading"
        collector.add(file.problem("heading 2", f'"{header[1]}"', allowed))
    collector.raise_if_any()
    return header[1].lower()


def _cells(form: str, rows: Rows, file: CsvFile) -> FloatArray:
    """All figures, (n, 2): shares of the duration, then of the depth."""
    if not rows:
        raise file.refused("", "headings without rows")
    collector = ProblemCollector()
    cells = np.full((len(rows), 2), math.nan)
    for at, (line, row) in enumerate(rows):
        if len(row) != 2:
            found = f"{len(row)} cells under 2 headings"
            mend = "If decimals are written with a comma, write them with a point."
            collector.add(file.problem(f"row {line}", found, "a cell for each heading", mend))
            continue
        for number, (column, text) in enumerate(zip(("duration_share", form), row, strict=True)):
            figure = figure_of(text)
            # A cumulative share may end over 1 by as much as is scaled away.
            most = 1.0 if number == 0 else 1.0 + SUM_TOLERANCE
            if figure is not None and 0.0 <= figure <= most:
                cells[at, number] = figure
                continue
            found = f'"{text}"' if text else "an empty cell"
            mend = "Write decimals with a point." if is_decimal_comma(text) else ""
            collector.add(file.problem(f"row {line}, column {column}", found, SHARE_ALLOWED, mend))
    collector.raise_if_any()
    return cells


def _check_times(time: FloatArray, lines: list[int], file: CsvFile) -> None:
    collector = ProblemCollector()
    for at in np.flatnonzero(np.diff(time) <= 0.0) + 1:
        found = f"{time[at]:g} after {time[at - 1]:g}"
        where = f"row {lines[at]}, column duration_share"
        collector.add(file.problem(where, found, TIME_ALLOWED))
    if abs(time[-1] - 1.0) > _ROUNDING:
        where = f"row {lines[-1]}, column duration_share"
        collector.add(file.problem(where, f"{time[-1]:g} in the last row", TIME_ALLOWED))
    collector.raise_if_any()


def _check_cumulative(fallen: FloatArray, lines: list[int], file: CsvFile) -> None:
    collector = ProblemCollector()
    for at in np.flatnonzero(np.diff(fallen) < 0.0) + 1:
        found = f"{fallen[at]:g}, less than {fallen[at - 1]:g} in the row above"
        allowed = "shares from 0 to 1 that never fall from row to row (no unit)"
        where = f"row {lines[at]}, column cumulative_share"
        collector.add(file.problem(where, found, allowed))
    collector.raise_if_any()


def _check_sum(total: float, form: str, file: CsvFile) -> None:
    if abs(total - 1.0) <= SUM_TOLERANCE:
        return
    if form == "cumulative_share":
        found = f"{total:.6g} in the last row"
        allowed = f"shares that end at 1, to {SUM_TOLERANCE:g} (no unit)"
    else:
        found = f"a sum of {total:.6g}"
        allowed = f"shares that sum to 1, to {SUM_TOLERANCE:g} (no unit)"
    raise file.refused(f"column {form}", found, allowed)


def _scaled(path: Path, total: float) -> Finding:
    return Finding(
        "rain_pattern_scaled",
        "note",
        "storms",
        "",
        f"The shares of the rain pattern {path.name} sum to {total:.6g}; each was divided by that, "
        "so that the whole depth falls.",
    )
