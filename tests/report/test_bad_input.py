"""What is no plan to report on is refused in one message; nothing is written, nothing lost."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from soakline.problems import InputRefused
from soakline.report.files import ReportOptions, write_report
from tests.report.conftest import changed

pytestmark = pytest.mark.slow


def refusal(plan: Path, options: ReportOptions | None = None) -> str:
    before = {file: file.read_bytes() for file in plan.parent.rglob("*") if file.is_file()}
    with pytest.raises(InputRefused) as refused:
        write_report(plan, options or ReportOptions())
    after = {file: file.read_bytes() for file in plan.parent.rglob("*") if file.is_file()}
    assert after == before
    (problem,) = refused.value.problems
    return str(problem)


def test_what_is_no_geopackage(tmp_path):
    text = tmp_path / "notes.gpkg"
    text.write_text("no plan", encoding="utf-8")
    assert "not a readable GeoPackage" in refusal(text)
    assert "no such file" in refusal(tmp_path / "gone.gpkg")


def test_a_geopackage_of_another_program(plan_path, tmp_path):
    other = changed(
        plan_path,
        tmp_path / "other.gpkg",
        lambda database: database.execute(
            "DELETE FROM gpkg_contents WHERE table_name = 'run_record'"
        ),
    )
    assert "another program" in refusal(other)


@pytest.mark.parametrize(
    ("version", "words"),
    [("0.0.9", "older version 0.0.9"), ("9.1.0", "newer version 9.1.0"), ("x", "version x")],
)
def test_a_plan_of_another_version(plan_path, tmp_path, version, words):
    statement = f"UPDATE run_record SET value = '{version}' WHERE key = 'version'"
    plan = changed(plan_path, tmp_path / "plan.gpkg", lambda database: database.execute(statement))
    assert words in refusal(plan)


def test_missing_layers_are_named_all_at_once(plan_path, tmp_path):
    def dropped(database):
        for table in ("pegs", "storms"):
            database.execute(f"DROP TABLE {table}")
            database.execute(f"DELETE FROM gpkg_contents WHERE table_name = '{table}'")
            database.execute(f"DELETE FROM gpkg_geometry_columns WHERE table_name = '{table}'")

    assert "no table pegs, storms" in refusal(changed(plan_path, tmp_path / "plan.gpkg", dropped))


def test_a_missing_column_is_named(plan_path, tmp_path):
    plan = changed(
        plan_path,
        tmp_path / "plan.gpkg",
        lambda database: database.execute("ALTER TABLE storms RENAME COLUMN depth_mm TO depth"),
    )
    assert "no column depth_mm" in refusal(plan)


def test_a_plan_that_is_still_being_written(plan_path, tmp_path):
    part = tmp_path / ".plan.part-4711.gpkg"
    part.write_bytes(plan_path.read_bytes())
    assert "still being written" in refusal(part)
    plan = tmp_path / "plan.gpkg"
    plan.write_bytes(plan_path.read_bytes())
    with closing(sqlite3.connect(plan, isolation_level=None)) as writer:
        writer.execute("BEGIN IMMEDIATE")
        writer.execute("UPDATE run_record SET value = 'other' WHERE key = 'version'")
        assert "still being written" in refusal(plan)
        writer.execute("ROLLBACK")


def test_places_that_cannot_be_written_to(plan_path, tmp_path):
    plan = tmp_path / "plan.gpkg"
    plan.write_bytes(plan_path.read_bytes())
    assert "no such folder" in refusal(plan, ReportOptions(tmp_path / "gone" / "report.html"))
    assert ".html" in refusal(plan, ReportOptions(tmp_path / "report.gpkg"))
    (tmp_path / "folder.html").mkdir()
    assert "folder" in refusal(plan, ReportOptions(tmp_path / "folder.html"))


def test_a_pdf_without_a_browser(plan_path, tmp_path, monkeypatch):
    plan = tmp_path / "plan.gpkg"
    plan.write_bytes(plan_path.read_bytes())
    monkeypatch.setenv("PATH", str(tmp_path))
    assert "no browser to print with" in refusal(plan, ReportOptions(pdf=True))
