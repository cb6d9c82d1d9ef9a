"""Weather as it was measured: every day of some years, or the means of twelve months."""

import re
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from soakline.grid import FloatArray
from soakline.inputs.csv_columns import NamedRow, named_rows
from soakline.inputs.csv_rows import CsvFile
from soakline.problems import InputProblem, ProblemCollector
from soakline.runfile.sections import RunFile

DAILY_KEY, MONTHLY_KEY = "climate.daily", "climate.monthly"
# A year has 365 days at least; less tells no season.
LEAST_DAYS = 365
# A century of days with every column is under 5 MB.
_GREATEST_BYTES = 20_000_000
# So many problems of one kind are told one by one.
_TOLD = 20
# Within so many rows dates may come to be in step again.
_IN_STEP = 32

_RAIN = (0.0, 2000.0, "mm")
_EVAPORATION = {"et0_mm": (0.0, 30.0, "mm")}
_TEMPERATURES = {"tmin_c": (-80.0, 60.0, "°C"), "tmax_c": (-80.0, 60.0, "°C")}
_FURTHER = {
    "rh_min_pct": (0.0, 100.0, "%"),
    "rh_max_pct": (0.0, 100.0, "%"),
    "rh_mean_pct": (0.0, 100.0, "%"),
    "dewpoint_c": (-80.0, 50.0, "°C"),
    "wind_ms": (0.0, 80.0, "m/s"),
    "radiation_mj_m2": (0.0, 50.0, "MJ/m² a day"),
    "sunshine_h": (0.0, 24.0, "h"),
}
"""Columns of FAO-56 that may be there: humidity, wind, solar radiation, hours of sunshine."""
_EITHER = "et0_mm, or tmin_c and tmax_c"
_MORE = ", ".join(_FURTHER)
_DAILY = (
    f"a CSV file with the columns date, rain_mm and {_EITHER}, a row for every day in order, a "
    f"year at least; also read: {_MORE}"
)
_MONTHLY = (
    f"a CSV file with the columns month, rain_mm, wet_days and {_EITHER} (of a day), a row for "
    f"each of the months 1 to 12; also read: {_MORE}"
)
_PAIRS = (("tmin_c", "tmax_c"), ("rh_min_pct", "rh_max_pct"))


@dataclass(frozen=True, eq=False, slots=True)
class WeatherTable:
    """Weather as a table has it.

    Parameters
    ----------
    first_day : of daily rows, which follow day by day; None where rows are the months 1 to 12
    columns : figures of every row by heading, (rows,), such as `rain_mm`; those that are there
    """

    first_day: date | None
    columns: dict[str, FloatArray]


def read_daily_weather(path: Path) -> WeatherTable:
    """Read a row for every day.

    Parameters
    ----------
    path : CSV file with `date`, `rain_mm` and either `et0_mm` or `tmin_c` and `tmax_c`

    Raises
    ------
    InputRefused
        With every cell that is empty, no number or out of range, every date that does not follow
        the one before by a day, every tmin over its tmax; also under a year of rows.
    """
    file = CsvFile(path, DAILY_KEY, _DAILY, _GREATEST_BYTES)
    problems = ProblemCollector()
    table = _Columns(file, {"rain_mm": _RAIN})
    rows = list(named_rows(file, ("date", "rain_mm"), table.optional))
    days = [_day_of(row.cells["date"]) for row in rows]
    wrong = _out_of_step([day.toordinal() if day else None for day in days])
    for row, day, at in zip(rows, days, range(len(rows)), strict=True):
        text = row.cells["date"]
        if day is None:
            found = f'"{text}"' if text else "an empty cell"
            problems.add(file.problem(row.where("date"), found, "a day as 2024-02-29"))
        elif at in wrong:
            wanted, words = wrong[at]
            allowed = f"{date.fromordinal(wanted)}, the day after the row before"
            problems.add(file.problem(row.where("date"), f"{text}, {words}", allowed))
        table.add(row, problems)
    _tell(problems, file)
    first = next((day for day in days if day), None)
    if first is None or len(days) < LEAST_DAYS:
        raise file.refused("", f"{len(days)} days", f"at least {LEAST_DAYS} days, a whole year")
    return WeatherTable(first, table.arrays())


def read_monthly_weather(path: Path) -> WeatherTable:
    """Read the means of twelve months.

    Parameters
    ----------
    path : CSV file with `month`, `rain_mm` (of the whole month), `wet_days` and either `et0_mm`
        (of a day) or `tmin_c` and `tmax_c`

    Raises
    ------
    InputRefused
        With every cell that cannot be used, months missing or twice, rain without wet days.
    """
    file = CsvFile(path, MONTHLY_KEY, _MONTHLY)
    problems = ProblemCollector()
    table = _Columns(file, {"rain_mm": (0.0, 5000.0, "mm"), "wet_days": (0.0, 31.0, "days")})
    months: list[int] = []
    for row in named_rows(file, ("month", "rain_mm", "wet_days"), table.optional):
        text = row.cells["month"]
        month = int(text) if re.fullmatch(r"0?[1-9]|1[0-2]", text) else 0
        if month == 0 or month in months:
            found = f'"{text}" again' if month else f'"{text}"'
            problems.add(file.problem(row.where("month"), found, "1 to 12, each once"))
        months.append(month)
        figures = table.add(row, problems)
        if figures["rain_mm"] > 0.0 and figures["wet_days"] == 0.0:
            found = f"0 with {figures['rain_mm']:g} mm of rain"
            problems.add(file.problem(row.where("wet_days"), found, "over 0 where rain is"))
    _tell(problems, file)
    missing = [str(month) for month in range(1, 13) if month not in months]
    if missing:
        raise file.refused("column month", f"no month {', '.join(missing)}", "1 to 12, each once")
    order = np.argsort(months)
    return WeatherTable(None, {name: own[order] for name, own in table.arrays().items()})


def chosen_weather(run: RunFile) -> WeatherTable | None:
    """Weather that a run names; None where it names none.

    Raises
    ------
    InputRefused
        If the table cannot be used.
    """
    keys = run.climate
    if keys.daily:
        return read_daily_weather(run.resolve(keys.daily))
    return read_monthly_weather(run.resolve(keys.monthly)) if keys.monthly else None


def _out_of_step(days: list[int | None]) -> dict[int, tuple[int, str]]:
    """Rows whose day is not the one after that of the row before, where none is unreadable.

    Parameters
    ----------
    days : of the rows, as ordinals; None where a date cannot be read

    Returns
    -------
    By row: the day that is wanted there, and what is wrong in words. Where days are in step again
    a few rows on, as after a slip of the pen or where rows changed places, the first alone is told.

    Examples
    --------
    >>> _out_of_step([7, 8, 10, 9, 11, 14])
    {2: (9, 'repeated or out of order'), 5: (12, '2 days missing before it')}
    """
    found = {}
    wanted: int | None = None
    row = 0
    while row < len(days):
        day = days[row]
        if wanted is not None and day not in (None, wanted):
            missing = day - wanted
            again = next(
                (k for k in range(1, _IN_STEP) if days[row + k : row + k + 1] == [wanted + k]), 0
            )
            if again or missing < 0:
                words = "repeated or out of order"
            else:
                words = f"{missing} day{'s' if missing > 1 else ''} missing before it"
            found[row] = (wanted, words)
            if again:
                row, wanted = row + again, wanted + again
                continue
        wanted = day + 1 if day is not None else wanted and wanted + 1
        row += 1
    return found


def _day_of(text: str) -> date | None:
    if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", text):
        return None
    try:
        # The last day that can be told has none after it.
        return min(date.fromisoformat(text), date.max - timedelta(days=1))
    except ValueError:
        return None


class _Columns:
    """Figures of the columns that a table has."""

    optional = (*_EVAPORATION, *_TEMPERATURES, *_FURTHER)

    def __init__(self, file: CsvFile, needed: dict[str, tuple[float, float, str]]) -> None:
        self._file, self._limits = file, needed
        self._rows: list[dict[str, float]] = []

    def add(self, row: NamedRow, problems: ProblemCollector) -> dict[str, float]:
        """Take a row's figures, NaN where there is a problem; the first row tells the columns."""
        if not self._rows:
            self._choose(row.cells)
        figures = {
            name: row.number(name, *limits, problems) for name, limits in self._limits.items()
        }
        for low, high in _PAIRS:
            if low in figures and figures[low] > figures[high]:
                allowed = f"no more than {high}, {figures[high]:g}"
                problems.add(row.file.problem(row.where(low), f"{figures[low]:g}", allowed))
        self._rows.append(figures)
        return figures

    def _choose(self, cells: dict[str, str]) -> None:
        """Refuse a heading without evaporation or temperatures, or with half a pair."""
        half = [name for pair in _PAIRS for name in pair if (set(pair) & set(cells)) == {name}]
        if half:
            found = f"{half[0]} without its pair"
            wanted = " and ".join(next(pair for pair in _PAIRS if half[0] in pair))
            raise self._file.refused(f"heading {half[0]}", found, f"{wanted}, both or neither")
        if "et0_mm" not in cells and "tmin_c" not in cells:
            raise self._file.refused("heading", "neither et0_mm nor tmin_c and tmax_c")
        known = {**self._limits, **_EVAPORATION, **_TEMPERATURES, **_FURTHER}
        self._limits = {name: limits for name, limits in known.items() if name in cells}

    def arrays(self) -> dict[str, FloatArray]:
        return {name: np.array([own[name] for own in self._rows]) for name in self._limits}


def _tell(problems: ProblemCollector, file: CsvFile) -> None:
    """Raise what was found; a table that is wrong throughout does not fill the screen."""
    found: list[InputProblem] = problems.problems
    if len(found) > _TOLD:
        more = file.problem("", f"{len(found) - _TOLD} more problems of this kind", "none")
        problems.problems = [*found[:_TOLD], more]
    problems.raise_if_any()
