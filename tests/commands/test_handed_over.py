"""`soakline report`, `verify` and `setout` on what is no good plan, each run as a user runs it."""

import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import geopandas as gpd
import pytest
import shapely
from lxml import etree, html

from soakline.styles.plan_styles import STYLES
from soakline.styles.sld import style_document
from tests.commands.running import Run, loaded_program, run_bound
from tests.report.conftest import HOSTILE, changed, hostile_words
from tests.setout.conftest import made_plan

pytestmark = pytest.mark.slow

READERS = ("report", "verify", "setout")
FORMULA = "=cmd|' /C calc'!A0"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return made_plan(tmp_path_factory.mktemp("made"))


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Run]:
    with loaded_program(tmp_path_factory.mktemp("words")) as program:
        yield program


@pytest.fixture
def plan(made: Path, tmp_path: Path) -> Path:
    shutil.copyfile(made.parent / "dem.tif", tmp_path / "dem.tif")
    return Path(shutil.copy(made.parent / "run.gpkg", tmp_path / "plan.gpkg"))


def refused(run: Run, command: str, plan: Path, *more: str) -> str:
    """What a command says of a file that it refuses in one message, nothing written or lost."""
    folder = plan.parent
    before = {file: file.read_bytes() for file in folder.rglob("*") if file.is_file()}
    status, stdout, stderr = run(folder, [command, str(plan), *more])
    assert (status, stdout) == (2, ""), stderr
    assert "Traceback" not in stderr
    assert plan.stem in stderr
    assert {file: file.read_bytes() for file in folder.rglob("*") if file.is_file()} == before
    return stderr


def statement(sql: str) -> Callable[[sqlite3.Connection], object]:
    return lambda database: database.execute(sql)


@pytest.mark.parametrize("command", READERS)
def test_no_geopackage(run: Run, tmp_path: Path, command: str) -> None:
    text = tmp_path / "text.gpkg"
    text.write_text("no plan", encoding="utf-8")
    assert "GeoPackage" in refused(run, command, text)


@pytest.mark.parametrize("command", READERS)
def test_another_programs_geopackage(run: Run, tmp_path: Path, command: str) -> None:
    roads = gpd.GeoDataFrame(
        {"name": ["road"]},
        geometry=[shapely.LineString([(0.0, 0.0), (9.0, 9.0)])],
        crs="EPSG:32755",
    )
    roads.to_file(tmp_path / "other.gpkg", layer="roads")
    said = refused(run, command, tmp_path / "other.gpkg")
    assert "another program" in said


@pytest.mark.parametrize("command", READERS)
@pytest.mark.parametrize(("version", "words"), [("0.0.1", "older"), ("9.0.0", "newer")])
def test_another_version(run: Run, plan: Path, command: str, version: str, words: str) -> None:
    sql = f"UPDATE run_record SET value = '{version}' WHERE key = 'version'"  # noqa: S608
    other = changed(plan, plan.with_name("other.gpkg"), statement(sql))
    said = refused(run, command, other)
    assert words in said
    assert version in said


@pytest.mark.parametrize("command", READERS)
def test_missing_layers(run: Run, plan: Path, command: str) -> None:
    def dropped(database: sqlite3.Connection) -> None:
        database.execute("DROP TABLE pegs")
        for table in ("gpkg_contents", "gpkg_geometry_columns"):
            database.execute(f"DELETE FROM {table} WHERE table_name = 'pegs'")  # noqa: S608

    assert "pegs" in refused(run, command, changed(plan, plan.with_name("other.gpkg"), dropped))


@pytest.mark.parametrize("command", READERS)
def test_a_plan_still_being_written(run: Run, plan: Path, command: str) -> None:
    with closing(sqlite3.connect(plan, isolation_level=None)) as writer:
        writer.execute("BEGIN EXCLUSIVE")
        writer.execute("UPDATE run_record SET value = 'x' WHERE key = 'finished'")
        assert "still being written" in refused(run, command, plan)
        writer.execute("ROLLBACK")


@pytest.mark.parametrize("command", ["report", "setout"])
def test_a_folder_that_may_not_be_written_to(plan: Path, command: str) -> None:
    plan.parent.chmod(0o555)
    try:
        assert "writ" in refused(run_bound, command, plan)
    finally:
        plan.parent.chmod(0o755)


def test_markup_in_names_is_shown_and_never_obeyed(run: Run, plan: Path) -> None:
    """In the report, the page for the field, drawings, XML and the cells of tables."""
    hostile = changed(plan, plan.with_name("hostile.gpkg"), hostile_words)
    status, _, stderr = run(hostile.parent, ["report", str(hostile)])
    assert status == 0, stderr
    text = hostile.with_suffix(".html").read_text(encoding="utf-8")
    assert "<script>alert" not in text
    assert html.fromstring(text).xpath("string(//h1)") == f"Swale plan of {HOSTILE}"
    forms = [part for form in ("csv", "gpx", "landxml", "svg", "field", "dxf")
             for part in ("--format", form)]  # fmt: skip
    status, stdout, stderr = run(hostile.parent, ["setout", str(hostile), *forms])
    assert status == 0, stderr
    written = [Path(line) for line in stdout.splitlines()]
    assert {file.suffix for file in written} == {".csv", ".gpx", ".xml", ".svg", ".html", ".dxf"}
    for file in (hostile.parent / file for file in written):
        text = file.read_text(encoding="utf-8", errors="replace")
        if file.suffix in (".gpx", ".xml", ".svg"):
            root = etree.fromstring(text.encode())
            assert not [e for e in root.iter() if str(e.tag).endswith("script")], file.name
            assert not root.xpath("//@onerror"), file.name
        if file.suffix == ".html":
            assert "<script>alert" not in text
            assert not html.fromstring(text).xpath("//@onerror")


def test_names_that_are_formulas_become_text_in_tables(run: Run, plan: Path) -> None:
    def named(database: sqlite3.Connection) -> None:
        for table in ("swales", "pegs", "spillways", "swale_ground"):
            sql = f"UPDATE {table} SET swale_id = ? || swale_id"  # noqa: S608
            database.execute(sql, (FORMULA,))

    other = changed(plan, plan.with_name("other.gpkg"), named)
    status, stdout, stderr = run(other.parent, ["setout", str(other), "--format", "csv"])
    assert status == 0, stderr
    cells = (
        (other.parent / stdout.strip()).read_text(encoding="utf-8").replace("\n", ",").split(",")
    )
    assert any(FORMULA in cell for cell in cells)
    assert not [cell for cell in cells if cell.strip('"').startswith("=")]


def test_styles_hold_no_name_of_the_plan() -> None:
    """They are the same for every plan but for the range of its elevation: nothing to escape."""
    document = style_document(STYLES.values())
    assert etree.fromstring(document.encode()) is not None
    assert HOSTILE not in document
