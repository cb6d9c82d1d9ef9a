"""Tables of weather: what is read, and that every bad line is told by row and column."""

from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from soakline.inputs.weather_table import (
    WeatherTable,
    read_daily_weather,
    read_monthly_weather,
)
from soakline.problems import InputProblem, InputRefused

FIRST = date(2023, 1, 1)


def daily(folder: Path, *rows: str, head: str = "date,rain_mm,tmin_c,tmax_c") -> Path:
    path = folder / "daily.csv"
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return path


def days(count: int, cells: str = "1.5,4,17") -> list[str]:
    return [f"{FIRST + timedelta(days=k)},{cells}" for k in range(count)]


def monthly(folder: Path, *rows: str, head: str = "month,rain_mm,wet_days,et0_mm") -> Path:
    path = folder / "monthly.csv"
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return path


def months() -> list[str]:
    return [f"{month},50,6,{2 + month / 10}" for month in range(1, 13)]


def problems_of(path: Path) -> list[InputProblem]:
    read = read_daily_weather if path.stem == "daily" else read_monthly_weather
    with pytest.raises(InputRefused) as refused:
        read(path)
    return refused.value.problems


def test_a_year_of_days_is_read_with_whatever_columns_there_are(tmp_path: Path) -> None:
    head = "date,rain_mm,tmin_c,tmax_c,wind_ms,station"
    path = daily(tmp_path, *days(365, "1.5,4,17,2.25,A7"), head=head)
    table: WeatherTable = read_daily_weather(path)
    assert table.first_day == FIRST
    assert set(table.columns) == {"rain_mm", "tmin_c", "tmax_c", "wind_ms"}
    assert np.all(table.columns["wind_ms"] == 2.25)
    assert table.columns["rain_mm"].size == 365


@pytest.mark.parametrize(
    ("old", "new", "where", "told"),
    [
        ("2023-02-05,1.5", "2023-02-05,-1.5", "row 37, column rain_mm", "-1.5"),
        ("2023-02-05,1.5", "2023-02-05,", "row 37, column rain_mm", "an empty cell"),
        ("2023-02-05,1.5", '2023-02-05,"1,5"', "row 37, column rain_mm", "1,5"),
        ("2023-02-05,1.5,4,17", "2023-02-05,1.5,18,17", "row 37, column tmin_c", "18"),
        ("2023-02-05,1.5,4,17", "2023-02-05,1.5,4,cold", "row 37, column tmax_c", "cold"),
        ("2023-02-05,1.5,4,17", "2023-02-05,1.5,4,170", "row 37, column tmax_c", "170"),
        ("2023-02-05,1.5", "5.2.2023,1.5", "row 37, column date", "5.2.2023"),
        ("2023-02-05,1.5", "2023-02-30,1.5", "row 37, column date", "2023-02-30"),
        ("2023-02-05,1.5", ",1.5", "row 37, column date", "an empty cell"),
        ("2023-02-05,1.5,4,17\n", "", "row 37, column date", "1 day missing"),
        ("2023-02-05,1.5", "2023-02-04,1.5", "row 37, column date", "repeated or out of order"),
        ("2023-02-05,1.5", "2023-01-02,1.5", "row 37, column date", "repeated or out of order"),
    ],
)
def test_a_bad_line_is_told_by_row_column_and_value(
    tmp_path: Path, old: str, new: str, where: str, told: str
) -> None:
    path = daily(tmp_path, *days(400))
    path.write_text(path.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")
    problem = problems_of(path)[0]
    assert problem.key == f"climate.daily, {where}"
    assert told in problem.found
    assert problem.allowed


def test_every_bad_line_is_told_at_once_and_a_gap_only_once(tmp_path: Path) -> None:
    rows = days(400)
    rows[10] = rows[10].replace("1.5", "-1")
    del rows[100:103]
    rows[300] = rows[300].replace(",4,", ",40,")
    first, second, third = problems_of(daily(tmp_path, *rows))
    assert "row 12" in first.key
    assert "3 days missing" in second.found
    assert "row 302, column tmin_c" in third.key


@pytest.mark.parametrize(
    ("rows", "days"),
    [
        ([35], ["2032-02-05"]),  # a slip of the pen
        ([35, 36], ["2023-02-06", "2023-02-05"]),  # two rows that changed places
    ],
)
def test_dates_that_are_in_step_again_are_told_once(
    tmp_path: Path, rows: list[int], days: list[str]
) -> None:
    lines = [f"{FIRST + timedelta(days=k)},1.5,4,17" for k in range(400)]
    for row, day in zip(rows, days, strict=True):
        lines[row] = f"{day},1.5,4,17"
    (problem,) = problems_of(daily(tmp_path, *lines))
    assert problem.key == "climate.daily, row 37, column date"
    assert problem.found == f"{days[0]}, repeated or out of order"
    assert problem.allowed.startswith("2023-02-05")


def test_the_last_day_that_can_be_told_is_no_failure_of_ours(tmp_path: Path) -> None:
    last = problems_of(daily(tmp_path, "9999-12-31,1,4,17", ",1,4,17", ",1,4,17"))
    assert [own.found for own in last] == ["an empty cell"] * 2


def test_a_table_wrong_throughout_does_not_fill_the_screen(tmp_path: Path) -> None:
    problems = problems_of(daily(tmp_path, *days(500, "-1,4,17")))
    assert len(problems) == 21
    assert problems[-1].found == "480 more problems of this kind"


@pytest.mark.parametrize(
    ("head", "cells", "told"),
    [
        ("date,rain_mm", "1", "neither et0_mm nor tmin_c and tmax_c"),
        ("date,rain_mm,tmax_c", "1,17", "tmax_c without its pair"),
        ("date,tmin_c,tmax_c", "4,17", "no such column"),
        ("day,rain_mm,et0_mm", "1,2", "no such column"),
        ("date,rain_mm,et0_mm,rh_min_pct", "1,2,40", "rh_min_pct without its pair"),
        ("date,rain_mm,et0_mm,et0_mm", "1,2,2", "two columns of that name"),
    ],
)
def test_columns_that_are_missing_half_there_or_twice_are_refused(
    tmp_path: Path, head: str, cells: str, told: str
) -> None:
    assert told in problems_of(daily(tmp_path, *days(365, cells), head=head))[0].found


@pytest.mark.parametrize("count", [0, 1, 364])
def test_less_than_a_year_is_refused(tmp_path: Path, count: int) -> None:
    (problem,) = problems_of(daily(tmp_path, *days(count)))
    assert problem.found == f"{count} days"
    assert "365" in problem.allowed


def test_months_may_come_in_any_order(tmp_path: Path) -> None:
    table = read_monthly_weather(monthly(tmp_path, *reversed(months())))
    assert table.first_day is None
    assert table.columns["et0_mm"].tolist() == pytest.approx([2.1 + k / 10 for k in range(12)])


@pytest.mark.parametrize(
    ("old", "new", "where", "told"),
    [
        ("7,50,6", "13,50,6", "row 8, column month", "13"),
        ("7,50,6", "6,50,6", "row 8, column month", '"6" again'),
        ("7,50,6", "July,50,6", "row 8, column month", "July"),
        ("7,50,6", "7,-50,6", "row 8, column rain_mm", "-50"),
        ("7,50,6", "7,50,0", "row 8, column wet_days", "0 with 50 mm of rain"),
        ("7,50,6", "7,50,32", "row 8, column wet_days", "32"),
        ("7,50,6,2.7\n", "", "column month", "no month 7"),
    ],
)
def test_a_bad_month_is_told_by_row_column_and_value(
    tmp_path: Path, old: str, new: str, where: str, told: str
) -> None:
    path = monthly(tmp_path, *months())
    path.write_text(path.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")
    problem = problems_of(path)[0]
    assert problem.key == f"climate.monthly, {where}"
    assert told in problem.found
