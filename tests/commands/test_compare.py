"""`soakline compare`, as a user meets it: statuses, streams, files left alone."""

import csv
import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import geopandas as gpd
import pytest
from shapely import box

from tests.commands.running import Run, loaded_program
from tests.compare.plans import changed_copy, make_plans

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("valley")
    make_plans(folder)
    return folder


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Run]:
    with loaded_program(tmp_path_factory.mktemp("words")) as program:
        yield program


def refusal(run: Run, folder: Path, *arguments: str | Path) -> str:
    status, stdout, stderr = run(folder, ["compare", *map(str, arguments)])
    assert (status, stdout) == (2, ""), stderr
    assert "Traceback" not in stderr
    return stderr


def test_it_prints_the_comparison_alone_and_ends_with_0(run, folder):
    status, stdout, stderr = run(folder, ["compare", "usual.gpkg", "wetter.gpkg"])
    assert (status, stderr) == (0, "")
    assert stdout.startswith("A: usual.gpkg, test, rain rain.csv (")
    assert "4 of 4 swales spill more in the design storm" in stdout


def test_all_prints_more(run, folder):
    some, everything = (
        run(folder, ["compare", "usual.gpkg", "wetter.gpkg", *options])[1]
        for options in ([], ["--all"])
    )
    assert len(everything.splitlines()) > len(some.splitlines())


def test_json_on_stdout_is_one_object(run, folder):
    status, stdout, stderr = run(folder, ["compare", "usual.gpkg", "wetter.gpkg", "--json"])
    assert (status, stderr) == (0, "")
    facts = json.loads(stdout)
    assert facts["format_version"] == 1
    assert facts["b"]["rain_table"] == "wetter.csv"
    assert [swale["id"] for swale in facts["swales"]] == ["S001", "S002", "S003", "S004"]


def test_csv_on_stdout_is_one_table(run, folder):
    status, stdout, _ = run(folder, ["compare", "usual.gpkg", "drier.gpkg", "--csv"])
    table = list(csv.DictReader(stdout.splitlines()))
    assert status == 0
    by_key = {(row["scope"], row["id"], row["item"]): row for row in table}
    assert float(by_key["plan", "", "spilling_swales"]["b"]) == 0
    assert float(by_key["swale", "S003", "design_overflow_m3"]["b"]) == 0


def test_json_and_csv_together_are_refused(run, folder):
    refused = refusal(run, folder, "usual.gpkg", "wetter.gpkg", "--json", "--csv")
    assert "give one of them" in refused


def test_both_plans_are_only_read(run, folder, tmp_path):
    for name in ("usual.gpkg", "wetter.gpkg"):
        (tmp_path / name).write_bytes((folder / name).read_bytes())
        (tmp_path / name).chmod(0o444)
    before = {
        file.name: (file.read_bytes(), file.stat().st_mtime_ns) for file in tmp_path.iterdir()
    }
    assert run(tmp_path, ["compare", "usual.gpkg", "wetter.gpkg"])[0] == 0
    after = {file.name: (file.read_bytes(), file.stat().st_mtime_ns) for file in tmp_path.iterdir()}
    assert after == before


def test_plans_of_different_properties_are_refused(run, folder, tmp_path):
    def elsewhere(frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
        west, south, east, north = frame.total_bounds
        return frame.set_geometry([box(west + 200, south, east + 200, north)])

    other = changed_copy(folder / "usual.gpkg", tmp_path / "other.gpkg", {"property": elsewhere})
    told = refusal(run, folder, "usual.gpkg", other)
    assert "1 problem" in told
    assert f"{other}: table property: found another property: " in told
    assert "95 %" in told


def test_a_file_that_is_not_a_plan_is_refused_and_the_missing_tables_are_named(
    run, folder, tmp_path
):
    told = refusal(run, folder, "usual.gpkg", "boundary.gpkg")
    assert "boundary.gpkg: found a GeoPackage of another program: no table run_record" in told
    less = tmp_path / "less.gpkg"
    less.write_bytes((folder / "usual.gpkg").read_bytes())
    with closing(sqlite3.connect(less)) as database:
        database.execute("DROP TABLE swale_storms")
        database.execute("DELETE FROM gpkg_contents WHERE table_name = 'swale_storms'")
        database.commit()
    assert f"{less}: found no table swale_storms; allowed" in refusal(
        run, folder, less, "usual.gpkg"
    )


@pytest.mark.parametrize(
    ("name", "found"),
    [
        ("none.gpkg", "no such file"),
        ("rain.csv", "not a readable GeoPackage"),
        ("dem.tif", "not a readable GeoPackage"),
        (".", "a folder"),
    ],
)
def test_what_is_no_geopackage_is_refused(run, folder, name, found):
    assert found in refusal(run, folder, name, "usual.gpkg")


def test_a_plan_cut_short_is_refused(run, folder, tmp_path):
    whole = (folder / "usual.gpkg").read_bytes()
    for share in (0.1, 0.5, 0.9):
        (tmp_path / "short.gpkg").write_bytes(whole[: int(share * len(whole))])
        assert "short.gpkg" in refusal(run, folder, tmp_path / "short.gpkg", "usual.gpkg")


def test_a_log_in_the_place_of_a_plan_is_refused(run, folder, tmp_path):
    link = tmp_path / "link.jsonl"
    link.symlink_to(folder / "usual.gpkg")
    before = (folder / "usual.gpkg").read_bytes()
    refusal(run, folder, "usual.gpkg", "wetter.gpkg", "--log", link)
    assert (folder / "usual.gpkg").read_bytes() == before


def test_help_tells_what_it_does(run, folder):
    status, stdout, _ = run(folder, ["compare", "--help"])
    assert status == 0
    for word in ("A.gpkg", "B.gpkg", "--json", "--csv", "--all"):
        assert word in stdout
