"""A rain pattern of one's own: read as it stands, or refused by row, column and value."""

from pathlib import Path

import numpy as np
import pytest

from soakline.inputs.rain_pattern import RainPattern, read_rain_pattern
from soakline.problems import InputRefused

CUMULATIVE = "duration_share,cumulative_share\n0,0\n0.25,0.1\n0.5,0.7\n1,1\n"
INCREMENTAL = "duration_share,incremental_share\n0.25,0.1\n0.5,0.6\n1,0.3\n"


def write(folder: Path, text: str | bytes) -> Path:
    path = folder / "pattern.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def read(folder: Path, text: str) -> RainPattern:
    return read_rain_pattern(write(folder, text))[0]


def refusal(folder: Path, text: str | bytes) -> str:
    with pytest.raises(InputRefused) as refused:
        read_rain_pattern(write(folder, text))
    assert "pattern.csv: rain.pattern" in str(refused.value)
    return str(refused.value)


@pytest.mark.parametrize("text", [CUMULATIVE, INCREMENTAL])
def test_both_forms_say_the_same(tmp_path: Path, text: str) -> None:
    pattern, findings = read_rain_pattern(write(tmp_path, text))
    assert pattern.duration_share.tolist() == [0.0, 0.25, 0.5, 1.0]
    assert pattern.cumulative_share == pytest.approx([0.0, 0.1, 0.7, 1.0], abs=1e-15)
    assert findings == ()


@pytest.mark.parametrize(
    "text",
    [
        CUMULATIVE.replace("0,0\n", ""),
        "\ufeff" + CUMULATIVE,
        CUMULATIVE.replace("\n", "\r\n"),
        "# of the depth\n\n" + CUMULATIVE.replace(",", " , ") + "\n",
        CUMULATIVE.replace("duration_share", '"Duration_share"'),
        INCREMENTAL.replace("share\n", "share\n0,0\n"),
    ],
)
def test_ways_in_which_the_same_pattern_is_written(tmp_path: Path, text: str) -> None:
    pattern = read(tmp_path, text)
    assert pattern.duration_share.tolist() == [0.0, 0.25, 0.5, 1.0]
    assert pattern.cumulative_share == pytest.approx([0.0, 0.1, 0.7, 1.0], abs=1e-15)


def test_one_row_is_steady_rain(tmp_path: Path) -> None:
    pattern = read(tmp_path, "duration_share,incremental_share\n1,1\n")
    assert pattern.duration_share.tolist() == pattern.cumulative_share.tolist() == [0.0, 1.0]


def test_a_dry_spell_within_a_storm_is_taken(tmp_path: Path) -> None:
    pattern = read(tmp_path, CUMULATIVE.replace("0.5,0.7", "0.5,0.1"))
    assert pattern.cumulative_share.tolist() == [0.0, 0.1, 0.1, 1.0]


@pytest.mark.parametrize(
    ("text", "printed"),
    [
        (CUMULATIVE.replace("1,1\n", "1,0.9995\n"), "0.9995"),
        (CUMULATIVE.replace("1,1\n", "1,1.0008\n"), "1.0008"),
        (INCREMENTAL.replace("1,0.3", "1,0.2993"), "0.9993"),
    ],
)
def test_a_sum_off_by_a_rounding_is_scaled_and_that_is_said(
    tmp_path: Path, text: str, printed: str
) -> None:
    pattern, findings = read_rain_pattern(write(tmp_path, text))
    assert pattern.cumulative_share[-1] == 1.0
    assert pattern.cumulative_share[1] == pytest.approx(0.1 / float(printed), rel=1e-12)
    assert [finding.code for finding in findings] == ["rain_pattern_scaled"]
    assert findings[0].severity == "note"
    assert printed in findings[0].message


def test_shares_that_miss_one_by_the_rounding_of_sums_make_no_finding(tmp_path: Path) -> None:
    rows = "".join(f"{(k + 1) / 10},0.1\n" for k in range(10))
    pattern, findings = read_rain_pattern(
        write(tmp_path, "duration_share,incremental_share\n" + rows)
    )
    assert findings == ()
    assert pattern.cumulative_share[-1] == pattern.duration_share[-1] == 1.0
    assert np.all(np.diff(pattern.cumulative_share) > 0.0)


@pytest.mark.parametrize(
    ("old", "new", "found"),
    [
        ("0.6", "0.5", "column incremental_share: found a sum of 0.9; allowed: shares that sum"),
        ("0.6", "0.6011", "found a sum of 1.0011"),
        ("0.6", "lots", 'row 3, column incremental_share: found "lots"'),
        ("0.6", "", "row 3, column incremental_share: found an empty cell"),
        ("0.6", "-0.1", 'row 3, column incremental_share: found "-0.1"'),
        ("0.6", "nan", 'found "nan"; allowed: a share from 0 to 1 (no unit)'),
        ("0.6", "1e999", 'found "1e999"'),
        ("0.6", '"0,6"', "Write decimals with a point"),
        ("0.6", "0,6", "row 3: found 3 cells under 2 headings"),
        ("0.5,0.6", "0.5", "row 3: found 1 cells under 2 headings"),
        ("0.5,", "0.25,", "row 3, column duration_share: found 0.25 after 0.25"),
        ("0.5,", "0.2,", "row 3, column duration_share: found 0.2 after 0.25"),
        ("0.5,", "1.5,", 'row 3, column duration_share: found "1.5"'),
        ("1,0.3", "0.9,0.3", "row 4, column duration_share: found 0.9 in the last row"),
        ("0.25,0.1", "0,0.1", "row 2, column incremental_share: found 0.1 fallen at"),
        ("duration_share", "time_min", 'heading 1: found "time_min"'),
        ("incremental_share", "share", 'heading 2: found "share"'),
        ("incremental_share", "incremental_share,more", "found 3 columns"),
    ],
)
def test_each_bad_cell_is_refused_by_row_column_and_value(
    tmp_path: Path, old: str, new: str, found: str
) -> None:
    assert old in INCREMENTAL
    assert found in refusal(tmp_path, INCREMENTAL.replace(old, new, 1))


def test_cumulative_shares_must_not_fall_and_end_at_one(tmp_path: Path) -> None:
    falling = refusal(tmp_path, CUMULATIVE.replace("0.7", "0.05"))
    assert "row 4, column cumulative_share: found 0.05, less than 0.1" in falling
    short = refusal(tmp_path, CUMULATIVE.replace("1,1\n", "1,0.9\n"))
    assert "column cumulative_share: found 0.9 in the last row; allowed: shares that end" in short


def test_all_bad_cells_come_together(tmp_path: Path) -> None:
    text = CUMULATIVE.replace("0.1", "x").replace("0.7", "-1")
    assert len(refusal(tmp_path, text).splitlines()) == 2


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("", "an empty file"),
        ("\n\n", "no rows"),
        ("duration_share,cumulative_share\n", "headings without rows"),
        (CUMULATIVE.replace(",", ";"), "separated by semicolons"),
        (CUMULATIVE.encode("utf-16"), "not UTF-8"),
        (b"duration_share,\x00\n1,1\n", "not text"),
        (CUMULATIVE + '"', "row"),
    ],
)
def test_files_that_are_no_pattern_are_refused(
    tmp_path: Path, text: str | bytes, found: str
) -> None:
    assert found in refusal(tmp_path, text)


def test_a_missing_file_is_refused_by_its_key(tmp_path: Path) -> None:
    with pytest.raises(InputRefused, match=r"rain\.pattern"):
        read_rain_pattern(tmp_path / "none.csv")
