"""What a list may say, and that all that is wrong with one is told at once."""

from pathlib import Path

import pytest

from soakline.fleet.fleet_list import read_list
from soakline.problems import InputRefused


def list_of(folder: Path, text: str) -> Path:
    file = folder / "list.toml"
    file.write_text(text, encoding="utf-8")
    return file


def runs(folder: Path, *places: str) -> None:
    for place in places:
        (folder / place).parent.mkdir(parents=True, exist_ok=True)
        (folder / place).touch()


def problems(file: Path) -> list[str]:
    with pytest.raises(InputRefused) as refused:
        read_list(file)
    return [str(problem) for problem in refused.value.problems]


def test_globs_and_names_are_found_from_the_lists_folder(tmp_path):
    runs(tmp_path, "north/b/run.toml", "north/a/run.toml", "south.toml")
    fleet = read_list(list_of(tmp_path, 'runs = ["south.toml", "north/*/*.toml", "*.toml"]'))
    ids = [listed.property_id for listed in fleet.properties]
    assert ids == ["south", "north/a/run", "north/b/run"]  # each once, the list itself not
    assert fleet.properties[1].plan == tmp_path / "fleet/plans/north/a/run.gpkg"
    assert (fleet.retries, fleet.backoff_s) == (2, 5.0)


def test_plans_of_run_files_from_elsewhere_stay_in_the_output_folder(tmp_path):
    runs(tmp_path, "other/run.toml", "lists/own.toml")
    fleet = read_list(list_of(tmp_path / "lists", 'runs = ["../other/run.toml"]\nout = "made"'))
    assert fleet.properties[0].property_id == "other/run"
    assert fleet.properties[0].plan == tmp_path / "lists/made/plans/other/run.gpkg"


def test_every_problem_is_told_at_once(tmp_path):
    runs(tmp_path, "taken")
    file = list_of(
        tmp_path,
        'runs = ["none.toml", "no/*.toml", "https://example.org/run.toml"]\n'
        'out = "taken"\nretrys = 3\nretries = 99\nbackoff_s = "long"\n',
    )
    told = "\n".join(problems(file))
    assert told.count("\n") == 6
    for part in (
        (
            "retrys: found an unknown key; allowed: the keys runs, out, retries, backoff_s. "
            "Nearest valid key: retries"
        ),
        "retries: found 99; allowed: a number from 0 to 10",
        'backoff_s: found "long"; allowed: a number from 0 to 3,600 s',
        'runs: found "none.toml": none; allowed: a run file that is there, or a glob',
        'runs: found "no/*.toml": none',
        'runs: found the address "https://example.org/run.toml"',
        f"out: found the file {tmp_path / 'taken'}; allowed: a folder",
    ):
        assert part in told


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("", "runs: found nothing; allowed: a list of run files or globs"),
        ("runs = []", "runs: found []; allowed: a list of run files or globs, as text, at least"),
        ('runs = "run.toml"', 'runs: found "run.toml"; allowed: a list of run files or globs'),
        ("runs = [", "allowed: TOML 1.0 in UTF-8"),
    ],
)
def test_a_list_without_runs_is_refused(tmp_path, text, found):
    (told,) = problems(list_of(tmp_path, text))
    assert found in told


def test_two_run_files_of_one_id_are_refused(tmp_path):
    runs(tmp_path, "a/x/run.toml", "b/x/run.toml", "lists/own.toml")
    file = list_of(tmp_path / "lists", 'runs = ["../*/x/run.toml"]')
    (told,) = problems(file)
    assert "both x/run; allowed: run files that differ in folder or name" in told
