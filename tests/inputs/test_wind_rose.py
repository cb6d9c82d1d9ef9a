"""Tables of wind: what they give, and what is refused by row and column."""

from pathlib import Path

import pytest

from soakline.inputs.wind_rose import read_wind_rose
from soakline.problems import InputRefused


def written(folder: Path, *rows: str, head: str = "from_deg,share_pct") -> Path:
    path = folder / "wind.csv"
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return path


def test_prevailing_sectors_are_those_at_least_as_frequent_as_the_mean_one(tmp_path: Path) -> None:
    rose = read_wind_rose(written(tmp_path, "360,10", "90,10", "180,20", "270,40", "Calm,20"))
    assert rose.from_deg.tolist() == [0.0, 90.0, 180.0, 270.0]
    from_deg, weight = rose.prevailing()
    # The mean of the four is 20 %, calms aside.
    assert from_deg.tolist() == [180.0, 270.0]
    assert weight == pytest.approx([1 / 3, 2 / 3])


@pytest.mark.parametrize(
    ("rows", "where", "found"),
    [
        (("0,50", "90,30"), "rows 2 to 3, column share_pct", "shares that sum to 80 %"),
        (("0,60", "180,60"), "rows 2 to 3, column share_pct", "shares that sum to 120 %"),
        (("0,50", "360,50"), "row 3, column from_deg", '"360" again, as in row 2'),
        (("calm,50", "Calm,50"), "row 3, column from_deg", '"Calm" again, as in row 2'),
        (("north,100",), "row 2, column from_deg", '"north"'),
        (("361,100",), "row 2, column from_deg", '"361"'),
        (("90,-5", "0,105"), "row 2, column share_pct", '"-5"'),
        (("90,", "0,100"), "row 2, column share_pct", "an empty cell"),
        (("calm,100",), "rows 2 to 2, column from_deg", "calms alone"),
    ],
)
def test_a_table_that_cannot_be_used_is_refused_by_row_and_column(
    tmp_path: Path, rows: tuple[str, ...], where: str, found: str
) -> None:
    path = written(tmp_path, *rows)
    with pytest.raises(InputRefused) as refused:
        read_wind_rose(path)
    problem = refused.value.problems[0]
    assert problem.file == str(path)
    assert problem.key == f"planting.wind, {where}"
    assert problem.found == found


def test_rounded_shares_pass_and_a_missing_column_and_no_rows_do_not(tmp_path: Path) -> None:
    thirds = read_wind_rose(written(tmp_path, "0,33.3", "120,33.3", "240,33.3"))
    assert thirds.prevailing()[1] == pytest.approx([1 / 3] * 3)
    with pytest.raises(InputRefused, match="heading share_pct"):
        read_wind_rose(written(tmp_path, "0,100", head="from_deg,share"))
    with pytest.raises(InputRefused, match="no rows"):
        read_wind_rose(written(tmp_path))
