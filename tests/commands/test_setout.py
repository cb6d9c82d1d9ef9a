"""`soakline setout`, as a user meets it: statuses, streams, files whole or not at all."""

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import icalendar
import pandas as pd
import pytest

from soakline.setout.files import ENDINGS, target_of
from tests.commands.running import Run, loaded_program
from tests.setout.conftest import made_plan

pytestmark = pytest.mark.slow

TEXTS = ("--format", "csv", "--format", "gpx")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return made_plan(tmp_path_factory.mktemp("made"))


@pytest.fixture
def folder(made: Path, tmp_path: Path) -> Path:
    """A folder of its own with the plan and its DEM."""
    for name in ("run.gpkg", "dem.tif"):
        shutil.copyfile(made.parent / name, tmp_path / name)
    return tmp_path


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Run]:
    with loaded_program(tmp_path_factory.mktemp("words")) as program:
        yield program


def refusal(run: Run, folder: Path, *arguments: str | Path) -> str:
    before = {file: file.read_bytes() for file in folder.rglob("*") if file.is_file()}
    status, stdout, stderr = run(folder, ["setout", *map(str, arguments)])
    assert (status, stdout) == (2, ""), stderr
    assert "Traceback" not in stderr
    assert {file: file.read_bytes() for file in folder.rglob("*") if file.is_file()} == before
    return stderr


def test_every_file_is_written_beside_the_plan_and_told(run, folder):
    status, stdout, stderr = run(folder, ["setout", "run.gpkg"])
    assert status == 0, stderr
    told = [folder / line for line in stdout.splitlines()]
    assert all(path.stat().st_size > 0 for path in told)
    for form in ENDINGS:
        assert folder / target_of(Path("run.gpkg"), None, form, 1).name in told
    assert not list(folder.glob(".*part*"))


def test_the_plan_is_only_read(run, folder):
    before = (folder / "run.gpkg").read_bytes()
    assert run(folder, ["setout", "run.gpkg", *TEXTS])[0] == 0
    assert (folder / "run.gpkg").read_bytes() == before


def test_a_missing_dem_is_told_and_the_rest_is_written(run, folder):
    (folder / "dem.tif").unlink()
    formats = [*TEXTS, "--format", "ground"]
    status, stdout, stderr = run(folder, ["setout", "run.gpkg", *formats])
    assert status == 0
    assert stdout.split() == ["run-pegs.csv", "run-pegs.gpx"]
    assert "run-finished-ground.tif was not written" in stderr
    assert "--dem" in stderr


def test_an_earlier_file_is_replaced(run, folder):
    (folder / "run-pegs.csv").write_text("mine", encoding="utf-8")
    assert run(folder, ["setout", "run.gpkg", "--format", "csv"])[0] == 0
    assert len(pd.read_csv(folder / "run-pegs.csv")) > 5


@pytest.mark.parametrize(
    ("name", "found"),
    [("none.gpkg", "no such file"), ("dem.tif", "not a readable GeoPackage"), (".", "a folder")],
)
def test_what_is_no_plan_is_refused(run, folder, name, found):
    assert found in refusal(run, folder, name)


def dropped(plan: Path, statement: str, *more: str) -> None:
    with closing(sqlite3.connect(plan)) as database:
        for each in (statement, *more):
            database.execute(each)
        database.commit()


def test_a_plan_without_pegs_is_refused(run, folder):
    with closing(sqlite3.connect(folder / "run.gpkg")) as database:
        triggers = database.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'pegs'"
        ).fetchall()
        for (trigger,) in triggers:
            database.execute(f'DROP TRIGGER "{trigger}"')
        database.commit()
    dropped(folder / "run.gpkg", "DELETE FROM pegs")
    assert "table pegs: found no pegs; allowed: a plan with pegs" in refusal(
        run, folder, "run.gpkg", *TEXTS
    )


def test_a_missing_layer_is_named(run, folder):
    dropped(
        folder / "run.gpkg",
        "DROP TABLE spillways",
        "DELETE FROM gpkg_contents WHERE table_name = 'spillways'",
    )
    assert "found no table spillways" in refusal(run, folder, "run.gpkg", *TEXTS)


def test_an_unknown_format_is_refused(run, folder):
    assert "'dwg'" in refusal(run, folder, "run.gpkg", "--format", "dwg")


def test_a_folder_that_is_not_there_is_refused_once(run, folder):
    told = refusal(run, folder, "run.gpkg", "--out", "nowhere")
    assert "1 problem" in told
    assert "no such folder" in told


def test_nothing_is_written_where_one_file_cannot_be(run, folder):
    (folder / "run-setout.dxf").mkdir()
    told = refusal(run, folder, "run.gpkg", *TEXTS, "--format", "dxf")
    assert "run-setout.dxf: found a folder or device" in told


def test_the_run_file_can_ask_for_files_beside_the_plan(run, made, tmp_path):
    for name in ("dem.tif", "boundary.gpkg", "rain.csv"):
        shutil.copyfile(made.parent / name, tmp_path / name)
    text = (made.parent / "run.toml").read_text(encoding="utf-8")
    text += '\n[output]\nsetout = ["csv", "ground"]\nfinished_cell_m = 0.5\n'
    (tmp_path / "run.toml").write_text(text, encoding="utf-8")
    status, stdout, stderr = run(tmp_path, ["plan", "run.toml"])
    assert status in (0, 3), stderr
    written = ["run.gpkg", "run-pegs.csv", "run-finished-ground.tif"]
    assert [Path(line).name for line in stdout.split()] == written
    assert all((tmp_path / name).is_file() for name in written)


@pytest.mark.parametrize("weather", [True, False])
def test_the_run_file_can_ask_for_the_calendar(run, made, tmp_path, weather):
    for name in ("dem.tif", "boundary.gpkg", "rain.csv"):
        shutil.copyfile(made.parent / name, tmp_path / name)
    text = (made.parent / "run.toml").read_text(encoding="utf-8")
    text += "\n[output]\ncalendar_year = 2027\n"
    if weather:
        text += '\n[climate]\nmonthly = "months.csv"\n'
        rows = [f"{month},{30 + 5 * month},5,{1 + month % 6}" for month in range(1, 13)]
        months = "\n".join(["month,rain_mm,wet_days,et0_mm", *rows]) + "\n"
        (tmp_path / "months.csv").write_text(months, encoding="utf-8")
    (tmp_path / "run.toml").write_text(text, encoding="utf-8")
    status, stdout, stderr = run(tmp_path, ["plan", "run.toml"])
    assert status in (0, 3), stderr
    names = [Path(line).name for line in stdout.split()]
    if weather:
        assert names == ["run.gpkg", "run-calendar.ics"]
        content = (tmp_path / "run-calendar.ics").read_bytes()
        events = icalendar.Calendar.from_ical(content).walk("VEVENT")
        with closing(sqlite3.connect(tmp_path / "run.gpkg")) as base:
            (rows,) = base.execute("SELECT count(*) FROM calendar").fetchone()
        assert len(events) == rows > 0
        assert min(event.decoded("dtstart") for event in events).year == 2027
    else:
        assert names == ["run.gpkg"]
        assert "no calendar was written" in stderr
        assert not list(tmp_path.glob("*.ics"))
