"""A new run folder."""

import tomllib

import pytest


@pytest.mark.parametrize("there", [True, False], ids=["empty", "new"])
def test_start_writes_what_a_run_needs_to_be_filled_in(soakline, tmp_path, there):
    folder = tmp_path / "a" / "farm"
    if there:
        folder.mkdir(parents=True)
    ran = soakline("start", folder)
    assert (ran.status, ran.stdout, ran.stderr) == (0, f"{folder / 'run.toml'}\n", "")
    assert {file.name for file in folder.iterdir()} == {
        "run.toml",
        "rain.csv",
        "rates.csv",
        "README.md",
    }
    run = tomllib.loads((folder / "run.toml").read_text())
    readme = (folder / "README.md").read_text()
    for name in (run["property"]["dem"], run["property"]["boundary"], run["rain"]["table"]):
        assert f"`{name}`" in readme


def test_a_new_folder_lacks_only_what_the_readme_says(soakline, tmp_path):
    soakline("start", tmp_path / "farm")
    ran = soakline("check", tmp_path / "farm" / "run.toml")
    assert ran.status == 2
    assert "3 problems" in ran.stderr
    for key in ("property.dem", "property.boundary", "rain.table"):
        assert key in ran.stderr


@pytest.mark.parametrize("name", ["mine.txt", ".hidden"])
def test_a_folder_that_holds_anything_is_refused_and_left_alone(soakline, tmp_path, name):
    (tmp_path / name).write_text("mine")
    ran = soakline("start", tmp_path)
    assert (ran.status, ran.stdout) == (2, "")
    assert name in ran.stderr
    assert [file.name for file in tmp_path.iterdir()] == [name]
    assert (tmp_path / name).read_text() == "mine"


def test_a_file_in_the_folders_place_is_refused(soakline, tmp_path):
    (tmp_path / "farm").write_text("mine")
    assert soakline("start", tmp_path / "farm").status == 2
    assert soakline("start", tmp_path / "farm" / "below").status == 2
    assert (tmp_path / "farm").read_text() == "mine"
