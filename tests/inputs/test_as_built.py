"""Levels measured on lips after digging, as they are read."""

from pathlib import Path

import pytest

from soakline.inputs.as_built import read_as_built
from soakline.problems import InputRefused

GOOD = "swale_id,chainage_m,level_m\nS001,0,402.25\nS001,10.5,402.2\nS002,0,394\n"


def written(folder: Path, text: str) -> Path:
    path = folder / "lips.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_levels_are_read_in_the_files_order(tmp_path: Path) -> None:
    survey = read_as_built(written(tmp_path, GOOD))
    assert [(own.swale_id, own.chainage_m, own.level_m) for own in survey.levels] == [
        ("S001", 0.0, 402.25), ("S001", 10.5, 402.2), ("S002", 0.0, 394.0),
    ]  # fmt: skip
    assert survey.swale_ids == ["S001", "S002"]


@pytest.mark.parametrize(
    ("old", "new", "names"),
    [
        ("level_m\n", "level\n", ("heading level_m", "no such column")),
        ("S002,", ",", ("row 4, column swale_id", "an empty cell")),
        ("10.5", "-1", ("row 3, column chainage_m", '"-1"', "from 0 to")),
        ("10.5", "0", ("row 3, column chainage_m", "0 m of S001 again, as in row 2")),
        ("402.25", "high", ("row 2, column level_m", '"high"', "a number from -500 to 9000 m")),
        ("402.25", "", ("row 2, column level_m", "an empty cell")),
        (GOOD.partition("\n")[2], "", ("no rows",)),
    ],
)
def test_what_is_wrong_is_told_with_file_row_and_column(
    tmp_path: Path, old: str, new: str, names: tuple[str, ...]
) -> None:
    assert old in GOOD
    with pytest.raises(InputRefused) as refused:
        read_as_built(written(tmp_path, GOOD.replace(old, new)))
    for name in ("lips.csv", "earthworks.as_built", *names):
        assert name in str(refused.value)
