"""Places that a plan may not be written to are refused before any work."""

import os
import re

import pytest

NEVER = "raise AssertionError('work began')"


def refusal(plan, run_file, *options):
    status, stdout, stderr = plan(NEVER, run_file, *options)
    assert (status, stdout) == (2, ""), stderr
    return stderr


@pytest.mark.parametrize(
    ("options", "found"),
    [
        (["--out", "plan.tif"], 'the ending ".tif"'),
        (["--out", "plan"], "no ending"),
        (["--out", "none/plan.gpkg"], "no folder"),
        (["--out", "run.toml"], "the same file as the run file"),
        (["--out", "boundary.gpkg"], "the same file as property.boundary"),
        (["--out", "link.gpkg"], "the same file as property.boundary"),
        (["--out", "folder.gpkg"], "a folder"),
        (["--map", "map.jpg"], 'the ending ".jpg"'),
        (["--map", "none/map.png"], "no folder"),
        (["--map", "folder.png"], "a folder"),
        (["--log", "log.txt"], 'the ending ".txt"'),
        (["--log", "none/log.jsonl"], "no folder"),
    ],
)
def test_a_bad_place_is_refused_and_nothing_is_written(plan, run_file, tmp_path, options, found):
    (tmp_path / "boundary.gpkg").write_text("mine")
    (tmp_path / "link.gpkg").symlink_to("boundary.gpkg")
    (tmp_path / "folder.gpkg").mkdir()
    (tmp_path / "folder.png").mkdir()
    before = sorted(tmp_path.iterdir())
    assert found in refusal(plan, run_file, *options)
    assert sorted(tmp_path.iterdir()) == before
    assert (tmp_path / "boundary.gpkg").read_text() == "mine"


def test_a_default_place_is_checked_like_any_other(plan, tmp_path, run_file):
    (tmp_path / "run.gpkg").mkdir()
    assert "a folder" in refusal(plan, run_file)


def test_a_raster_beside_the_plan_is_never_an_input(plan, run_file, tmp_path):
    dem = tmp_path / "hill-elevation.tif"
    dem.write_bytes(b"mine")
    text = run_file.read_text()
    run_file.write_text(re.sub(r'dem = "[^"]*"', f'dem = "{dem.name}"', text))
    assert "the same file as property.dem" in refusal(plan, run_file, "--out", "hill.gpkg")
    assert dem.read_bytes() == b"mine"


def test_a_read_only_folder_is_refused(plan, run_file, tmp_path):
    locked = tmp_path / "locked"
    locked.mkdir(mode=0o500)
    if os.access(locked, os.W_OK):
        pytest.skip("this user may write everywhere")
    assert "read-only" in refusal(plan, run_file, "--out", locked / "plan.gpkg")


def test_problems_of_run_file_out_and_map_come_together(plan, run_file):
    run_file.write_text(run_file.read_text() + "[siting]\nmax_slope_pct = 99\n")
    stderr = refusal(plan, run_file, "--out", "a.tif", "--map", "b.jpg")
    assert "3 problems" in stderr
    for part in ("siting.max_slope_pct", "--out", "--map"):
        assert part in stderr


def test_an_earlier_plan_stays_untouched_when_the_run_is_refused(plan, run_file, tmp_path):
    (tmp_path / "run.gpkg").write_text("earlier")
    run_file.write_text("nonsense")
    refusal(plan, run_file)
    assert (tmp_path / "run.gpkg").read_text() == "earlier"


def test_good_places_are_handed_on(plan, run_file):
    body = "print(out, map_path)\nreturn PlanOutcome(out, 0)"
    status, stdout, _ = plan(body, run_file, "--out", "p.gpkg", "--map", "p.PNG")
    assert status == 0
    assert stdout.splitlines()[0] == "p.gpkg p.PNG"
