"""The rain table: read whole and in order of rarity, or refused by row, column and value."""

import math
from pathlib import Path

import numpy as np
import pytest

from soakline.inputs.rain_table import (
    aep_pct,
    choose_columns,
    choose_frequency,
    read_rain_table,
)
from soakline.inputs.types import RainTable
from soakline.problems import InputRefused

GOOD = "duration_min,2,10,100\n5,6,10,16\n60,23,38,62\n1440,62,105,180\n"


def write(folder: Path, text: str | bytes) -> Path:
    path = folder / "rain.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def refusal(folder: Path, text: str | bytes) -> str:
    with pytest.raises(InputRefused) as refused:
        read_rain_table(write(folder, text))
    assert "rain.csv: rain.table" in str(refused.value)
    return str(refused.value)


def test_a_good_table_is_read_as_it_stands(tmp_path: Path) -> None:
    table = read_rain_table(write(tmp_path, GOOD))
    assert table.duration_min.tolist() == [5, 60, 1440]
    assert table.frequency == ("2", "10", "100")
    assert table.depth_mm.tolist() == [[6, 10, 16], [23, 38, 62], [62, 105, 180]]


def test_columns_come_in_order_of_rarity_whatever_their_order(tmp_path: Path) -> None:
    text = "duration_min,1%,2.5,50%,10\n5,16,7,6.5,10\n60,62,25,24,38\n"
    table = read_rain_table(write(tmp_path, text))
    assert table.frequency == ("50%", "2.5", "10", "1%")
    assert table.depth_mm.tolist() == [[6.5, 7, 10, 16], [24, 25, 38, 62]]


@pytest.mark.parametrize(
    "text",
    [
        "\ufeff" + GOOD,
        GOOD.replace("\n", "\r\n"),
        "# depths in mm\n\n" + GOOD + "\n",
        GOOD.replace(",", " , "),
        GOOD.replace("duration_min", '"Duration_min"'),
    ],
)
def test_ways_in_which_programs_write_the_same_table(tmp_path: Path, text: str) -> None:
    table = read_rain_table(write(tmp_path, text))
    good = read_rain_table(write(tmp_path, GOOD))
    assert table.frequency == good.frequency
    np.testing.assert_array_equal(table.depth_mm, good.depth_mm)


@pytest.mark.parametrize(
    ("old", "new", "found"),
    [
        ("23", "lots", 'row 3, column 2: found "lots"'),
        ("23", "", "row 3, column 2: found an empty cell"),
        (",62\n", "\n", "row 3, column 100: found an empty cell"),
        ("23", "-23", "row 3, column 2: found -23 mm"),
        ("23", "0", "row 3, column 2: found 0 mm"),
        ("23", "nan", 'row 3, column 2: found "nan"'),
        ("23", "inf", 'row 3, column 2: found "inf"'),
        ("23", "1e999", "row 3, column 2: found 1e999 mm"),
        ("23", "2_3", 'row 3, column 2: found "2_3"'),
        ("180", "5001", "row 4, column 100: found 5001 mm"),
        ("23", '"23,5"', "Write decimals with a point"),
        ("23", "23,5", "5 cells under 4 headings"),
        ("60,", "5,", "row 3, column duration_min: found 5 min after 5 min"),
        ("60,", "4,", "row 3, column duration_min: found 4 min after 5 min"),
        ("60,", "-60,", "row 3, column duration_min: found -60 min"),
        ("23", "5", "row 3, column 2: found 5 mm, less than 6 mm in the row above"),
        ("38", "22.5", "row 3, column 10: found 22.5 mm, less than 23 mm in the more frequent"),
        (",100\n", ",10.0\n", 'heading 4: found "10.0" again'),
        (",100\n", ",rare\n", 'heading 4: found "rare"'),
        (",100\n", ",100%\n", 'heading 4: found "100%"'),
        (",100\n", ",0\n", 'heading 4: found "0"'),
        (",100\n", ",\n", 'heading 4: found ""'),
        ("duration_min", "duration_h", 'heading 1: found "duration_h"'),
    ],
)
def test_each_bad_cell_is_refused_by_row_column_and_value(
    tmp_path: Path, old: str, new: str, found: str
) -> None:
    assert old in GOOD
    assert found in refusal(tmp_path, GOOD.replace(old, new, 1))


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("", "an empty file"),
        ("\n\n", "no rows"),
        ("duration_min,2\n", "headings without rows"),
        ("duration_min\n5\n", "no column of depths"),
        (GOOD.replace(",", ";"), "separated by semicolons"),
        (GOOD.replace(",", ";").replace("38", "38,5"), "separated by semicolons"),
        (GOOD.replace(",", "\t"), "separated by tabs"),
        (GOOD.encode("utf-16"), "not UTF-8"),
        (b"duration_min,2\n5,\xff\n", "not UTF-8"),
        (b"duration_min,2\n5,\x00\n", "not text"),
        (GOOD + '"', "row"),
        (GOOD + "#" * 1_000_001, "bytes"),
    ],
)
def test_files_that_are_no_table_are_refused(tmp_path: Path, text: str | bytes, found: str) -> None:
    assert found in refusal(tmp_path, text)


def test_all_bad_cells_come_together(tmp_path: Path) -> None:
    text = GOOD.replace("23", "x").replace("105", "-1").replace(",6,", ",,")
    assert len(refusal(tmp_path, text).splitlines()) == 3


def test_equal_depths_pass_since_published_tables_are_rounded(tmp_path: Path) -> None:
    assert read_rain_table(write(tmp_path, GOOD.replace("38", "23"))).depth_mm[1, 1] == 23


def test_chance_of_a_year_by_heading() -> None:
    assert aep_pct("10%") == 10.0
    assert aep_pct("1") == pytest.approx(63.212, abs=5e-4)
    assert aep_pct("100") == pytest.approx(100 * (1 - math.exp(-0.01)))
    with pytest.raises(ValueError, match="not a frequency"):
        aep_pct("often")


def table(*frequency: str) -> RainTable:
    depth_mm = np.arange(1.0, len(frequency) + 1.0)[None]
    return RainTable(np.array([60.0]), frequency, depth_mm)


def test_a_column_is_chosen_as_headed() -> None:
    assert choose_frequency(table("2", "10", "100"), "10", "rain.csv") == (1, "")
    assert choose_frequency(table("2", "10", "100"), "10.0", "rain.csv") == (1, "")
    assert choose_frequency(table("50%", "10%"), "10 %", "rain.csv") == (1, "")
    # Both are there: years stay years.
    assert choose_frequency(table("10%", "10"), "10", "rain.csv") == (1, "")


@pytest.mark.parametrize(
    ("headings", "asked", "index"),
    [
        (("50%", "10%", "1%"), "100", 2),
        (("50%", "10%", "1%"), "10", 1),
        (("2", "10", "100"), "1%", 2),
        (("50%", "33.33%"), "3", 1),
    ],
)
def test_whole_years_match_their_chance_and_that_is_noted(
    headings: tuple[str, ...], asked: str, index: int
) -> None:
    chosen, note = choose_frequency(table(*headings), asked, "rain.csv")
    assert chosen == index
    assert asked in note
    assert headings[index] in note


@pytest.mark.parametrize("asked", ["20", "5%", "1.58", "ten"])
def test_a_design_storm_that_is_not_there_is_refused_with_what_is(asked: str) -> None:
    with pytest.raises(InputRefused) as refused:
        choose_frequency(table("2", "10", "100"), asked, "rain.csv")
    message = str(refused.value)
    assert f'rain.csv: rain.design: found "{asked}"' in message
    assert "2, 10, 100" in message or asked == "ten"


def test_a_check_storm_that_is_not_there_gives_way_to_the_rarest() -> None:
    columns = choose_columns(table("2", "10", "50"), "10", "100", "rain.csv")
    assert (columns.design, columns.check) == (1, 2)
    assert [f.code for f in columns.findings] == ["check_storm_missing"]
    assert columns.findings[0].severity == "caution"
    assert "50" in columns.findings[0].message
    found = choose_columns(table("2", "10", "100"), "10", "1%", "rain.csv")
    assert found.findings == ()
    assert found.notes == ("rain.check = 1% taken from the column headed 100: AEP = 1/T",)


def test_a_check_storm_more_frequent_than_the_design_is_refused() -> None:
    with pytest.raises(InputRefused, match=r"rain\.check"):
        choose_columns(table("2", "10", "100"), "10", "2", "rain.csv")
