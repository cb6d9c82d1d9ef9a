"""`soakline plan` with other rain than the run file's, and with what is kept from run to run."""

from pathlib import Path

import pyogrio
import pytest

from tests.conftest import Soakline
from tests.terrain_analytic.ground import plane, sample
from tests.terrain_analytic.run_folder import DEFAULT_RAIN, write_run


def with_more(factor: float) -> str:
    head, *rows = DEFAULT_RAIN.splitlines()
    cells = [row.split(",") for row in rows]
    return "\n".join(
        [head, *(",".join([c[0], *(f"{factor * float(d):.2f}" for d in c[1:])]) for c in cells)]
    )


@pytest.fixture
def run(tmp_path: Path) -> Path:
    dem, grid = sample(plane(8.0), width_m=240.0)
    (tmp_path / "wet.csv").write_text(with_more(1.5))
    (tmp_path / "dry.csv").write_text(with_more(0.4))
    return write_run(tmp_path, dem, grid)


def spilled_m3(plan: Path) -> float:
    swales = pyogrio.read_dataframe(plan, layer="swales", read_geometry=False)
    return float(swales.design_overflow_m3.sum())


def test_another_table_takes_the_place_of_the_run_files(run: Path, soakline: Soakline) -> None:
    usual = soakline("plan", run)
    wet = soakline("plan", run, "--rain", run.parent / "wet.csv", "--out", run.parent / "w.gpkg")
    assert usual.status in (0, 3), usual.stderr
    assert wet.status in (0, 3), wet.stderr
    assert spilled_m3(run.parent / "w.gpkg") > spilled_m3(run.with_suffix(".gpkg"))
    record = pyogrio.read_dataframe(run.parent / "w.gpkg", layer="run_record")
    assert record.value[record.key == "input:rain"].iloc[0].startswith("wet.csv sha256=")
    assert "stage store" in wet.stderr


def test_several_tables_give_a_plan_each_and_how_they_differ(run: Path, soakline: Soakline) -> None:
    tables = [run.parent / "dry.csv", run.parent / "wet.csv"]
    ran = soakline("plan", run, "--rain", tables[0], "--rain", tables[1])
    assert ran.status in (0, 3), ran.stderr
    lines = ran.stdout.splitlines()
    plans = [run.parent / f"run-{name}.gpkg" for name in ("dry", "wet")]
    assert [Path(line).name for line in lines[:2]] == [plan.name for plan in plans]
    assert spilled_m3(plans[0]) < spilled_m3(plans[1])
    assert "spill" in ran.stdout
    assert not run.with_suffix(".gpkg").exists()


def test_what_is_to_say_of_a_table_is_said_once(run: Path, soakline: Soakline) -> None:
    run.write_text(run.read_text().replace("[rain]", '[rain]\ncheck = "500"'))
    tables = [run.parent / "dry.csv", run.parent / "wet.csv"]
    ran = soakline("plan", run, "--rain", tables[0], "--rain", tables[1])
    assert ran.status in (0, 3), ran.stderr
    told = [line for line in ran.stderr.splitlines() if 'no column for rain.check = "500"' in line]
    assert len(told) == len(tables)


def test_a_bad_table_among_several_leaves_nothing_written(run: Path, soakline: Soakline) -> None:
    bad = run.parent / "bad.csv"
    bad.write_text("duration_min,10,100\n10,20,30\n60,10,40\n")
    ran = soakline("plan", run, "--rain", run.parent / "wet.csv", "--rain", bad)
    assert ran.status == 2
    assert "bad.csv" in ran.stderr
    assert not list(run.parent.glob("run-*.gpkg"))


def test_tables_of_one_name_are_refused(run: Path, soakline: Soakline) -> None:
    other = run.parent / "other"
    other.mkdir()
    (other / "wet.csv").write_text(with_more(1.1))
    ran = soakline("plan", run, "--rain", run.parent / "wet.csv", "--rain", other / "wet.csv")
    assert ran.status == 2
    assert '"wet" twice' in ran.stderr


def test_a_missing_table_is_refused(run: Path, soakline: Soakline) -> None:
    ran = soakline("plan", run, "--rain", run.parent / "none.csv")
    assert ran.status == 2
    assert "none.csv" in ran.stderr


def test_a_folder_of_other_files_is_not_taken_for_a_store(run: Path, soakline: Soakline) -> None:
    ran = soakline("plan", run, "--work", run.parent)
    assert ran.status == 2
    assert "--work" in ran.stderr
    assert not run.with_suffix(".gpkg").exists()


def test_a_corrupted_store_is_noticed_and_made_anew(run: Path, soakline: Soakline) -> None:
    work = run.parent / "kept"
    assert soakline("plan", run, "--work", work).status in (0, 3)
    before = spilled_m3(run.with_suffix(".gpkg"))
    kept = [path for path in work.rglob("*") if path.is_file() and path.stat().st_size > 10_000]
    assert kept
    for path in kept:
        content = bytearray(path.read_bytes())
        content[len(content) // 2] ^= 0xFF
        path.write_bytes(content)
    ran = soakline("plan", run, "--work", work)
    assert ran.status in (0, 3), ran.stderr
    assert "made anew" in ran.stderr
    assert spilled_m3(run.with_suffix(".gpkg")) == before


def test_fresh_uses_nothing_that_is_kept(run: Path, soakline: Soakline) -> None:
    for option in ([], ["--fresh"]):
        ran = soakline("plan", run, "--work", run.parent / "kept", *option)
        assert ran.status in (0, 3), ran.stderr
        assert "reading 57,600 cells" in ran.stderr
    again = soakline("plan", run, "--work", run.parent / "kept")
    assert "reading 57,600 cells" not in again.stderr
