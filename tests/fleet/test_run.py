"""Fleets as a user runs them: broken properties, killed workers, what is kept, the summary."""

import json
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path

import geopandas as gpd
import pytest
import shapely

from soakline.command.plan import PlanOptions, plan_command
from soakline.compare.plans import compare_plans
from soakline.fleet.cluster import fitting_workers
from soakline.fleet.fleet_list import read_list
from soakline.fleet.rows import Row
from soakline.fleet.run import FleetOptions, run_fleet
from soakline.stages.progress import Event, Progress
from tests.commands.running import run_anew
from tests.fleet.farms import break_farm, write_farms, write_list
from tests.fleet.works import misbehave

FARMS, BROKEN = 4, 1
MIB = 2**20

pytestmark = pytest.mark.long


@dataclass(frozen=True)
class Ran:
    """A fleet of four, one of them broken, run twice."""

    folder: Path
    status: int
    facts: dict
    stderr: str
    again: dict
    log: str


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory) -> Ran:
    folder = tmp_path_factory.mktemp("fleet")
    farms = write_farms(folder, FARMS)
    break_farm(farms[BROKEN], 3)
    write_list(folder)
    command = ["fleet", "list.toml", "--json", "--workers", "1"]
    status, stdout, stderr = run_anew(folder, [*command, "--log", "log.jsonl"])
    log = (folder / "log.jsonl").read_text()
    # New rain for one, and the plan of another is damaged.
    rain = farms[0].parent / "rain.csv"
    rain.write_text(rain.read_text().replace("5,6.3,8.4,10,", "5,6.3,8.4,10.1,"))
    with (folder / "fleet/plans/farms/p002/run.gpkg").open("ab") as plan:
        plan.write(b"x")
    again = json.loads(run_anew(folder, command)[1])
    return Ran(folder, status, json.loads(stdout), stderr, again, log)


def test_a_broken_property_is_one_row_and_the_rest_are_planned(ran):
    rows = {row["property_id"]: row for row in ran.facts["properties"]}
    assert [row["status"] for row in rows.values()] == ["planned", "refused", "planned", "planned"]
    assert ran.status == 3
    broken = rows["farms/p001/run"]
    assert "rain.csv" in broken["message"]
    assert (broken["attempts"], broken["plan"], broken["swales"]) == (1, None, None)
    assert "Traceback" not in ran.stderr


def test_a_plan_of_a_fleet_is_the_plan_of_the_property_alone(ran, tmp_path):
    run_file = ran.folder / "farms/p003/run.toml"
    assert plan_command(run_file, PlanOptions(out=tmp_path / "alone.gpkg"), Progress()) == 0
    own = ran.folder / "fleet/plans/farms/p003/run.gpkg"
    for layer in ("swales", "pegs", "swale_storms", "findings", "quantities"):
        ours, alone = (gpd.read_file(file, layer=layer) for file in (own, tmp_path / "alone.gpkg"))
        assert ours.equals(alone), layer
    assert (compare_plans(own, tmp_path / "alone.gpkg").record).empty


def test_only_what_changed_is_planned_again(ran):
    kept = {row["property_id"]: row["kept"] for row in ran.again["properties"]}
    assert kept == {
        "farms/p000/run": False,  # new rain
        "farms/p001/run": False,  # still broken
        "farms/p002/run": False,  # its plan is not whole
        "farms/p003/run": True,
    }
    first, again = ran.facts["properties"], ran.again["properties"]
    assert [row["swales"] for row in again] == [row["swales"] for row in first]


def test_the_summary_has_a_feature_for_each_property_with_its_plans_figures(ran):
    summary = gpd.read_file(ran.folder / "fleet/fleet.gpkg", layer="properties")
    assert len(summary) == FARMS
    assert list(summary["status"]) == ["planned", "refused", "planned", "planned"]
    plan = ran.folder / "fleet" / summary["plan"].iloc[3]
    swales = gpd.read_file(plan, layer="swales")
    assert summary["swales"].iloc[3] == len(swales) > 0
    assert summary["capacity_m3"].iloc[3] == pytest.approx(swales["capacity_m3"].sum())
    assert summary["cut_m3"].iloc[3] == pytest.approx(swales["cut_m3"].sum())
    cautions = (gpd.read_file(plan, layer="findings")["severity"] == "caution").sum()
    assert summary["cautions"].iloc[3] == cautions
    land = gpd.read_file(plan, layer="property")
    back = summary.to_crs(land.crs).geometry.iloc[3]
    assert shapely.hausdorff_distance(back, land.geometry.iloc[0]) < 1e-3
    assert summary.geometry.iloc[1] is None


def test_the_page_needs_nothing_from_elsewhere_and_links_the_plans(ran):
    links, tags = [], set()

    class Reader(HTMLParser):
        def handle_starttag(self, tag, attributes):
            tags.add(tag)
            links.extend(value for name, value in attributes if name in ("href", "src"))

    text = (ran.folder / "fleet/fleet.html").read_text(encoding="utf-8")
    Reader().feed(text)
    assert not tags & {"script", "link", "img"}
    assert len(links) == FARMS  # three plans and the summary
    assert all((ran.folder / "fleet" / link).is_file() for link in links)
    assert "4 of 4" in text
    assert 'http-equiv="refresh"' not in text  # it is over


def test_the_log_tells_each_property(ran):
    events = [json.loads(line) for line in ran.log.splitlines()]
    told = [event["message"] for event in events if event["stage"] == "fleet"]
    assert sum(f"of {FARMS}: farms/" in message for message in told) == FARMS


def test_a_refused_list_writes_nothing(tmp_path):
    write_farms(tmp_path, 1)
    file = write_list(tmp_path)
    file.write_text(file.read_text() + 'outt = "x"\n')
    before = sorted(tmp_path.rglob("*"))
    status, stdout, stderr = run_anew(tmp_path, ["fleet", "list.toml"])
    assert (status, stdout) == (2, "")
    assert "outt: found an unknown key" in stderr
    assert sorted(tmp_path.rglob("*")) == before


def test_a_scheduler_that_does_not_answer_is_refused(tmp_path):
    write_farms(tmp_path, 1)
    write_list(tmp_path)
    command = ["fleet", "list.toml", "--scheduler", "bogus://nowhere:1"]
    status, stdout, stderr = run_anew(tmp_path, command)
    assert (status, stdout) == (2, "")
    assert "--scheduler: found no Dask scheduler" in stderr
    assert not (tmp_path / "fleet").exists()


@pytest.fixture(scope="module")
def misbehaved(ran, tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Row], list[Event]]:
    """Properties whose workers do as their folders are named, one retry each."""
    folder = tmp_path_factory.mktemp("misbehaved")
    run_file = ran.folder / "farms/p003/run.toml"
    (folder / "made.gpkg").write_bytes(
        (ran.folder / "fleet/plans/farms/p003/run.gpkg").read_bytes()
    )
    names = ["good", "killed-once", "killed-always", "stale-once", "missing", "defect", "large"]
    for name in names:
        (folder / name).mkdir()
        (folder / name / "run.toml").write_bytes(run_file.read_bytes())
    listed = ", ".join(f'"{name}/run.toml"' for name in names)
    file = folder / "list.toml"
    file.write_text(f"runs = [{listed}]\nretries = 1\nbackoff_s = 0.1\n")
    told: list[Event] = []

    def needs(run) -> int:
        return 10_000 * MIB if run.folder.name == "large" else MIB

    options = FleetOptions(workers=1, memory_bytes=100 * MIB)
    rows = run_fleet(file, read_list(file), options, misbehave, needs, Progress((told.append,)))
    return {row.run_file.parent.name: row for row in rows}, told


def test_a_worker_killed_midway_loses_nothing(misbehaved):
    rows, _ = misbehaved
    assert (rows["killed-once"].status, rows["killed-once"].attempts) == ("planned", 2)
    assert (rows["good"].status, rows["good"].attempts) == ("planned", 1)


def test_what_always_kills_its_worker_is_given_up_and_told(misbehaved):
    row = misbehaved[0]["killed-always"]
    assert (row.status, row.attempts) == ("failed", 2)
    assert "its worker was killed" in row.message


def test_only_what_may_pass_is_tried_again(misbehaved):
    rows, told = misbehaved
    assert (rows["stale-once"].status, rows["stale-once"].attempts) == ("planned", 2)
    assert (rows["missing"].status, rows["missing"].attempts) == ("failed", 1)
    assert (rows["defect"].status, rows["defect"].attempts) == ("failed", 1)
    assert rows["defect"].message == "a defect of ours, ValueError: areas do not sum"
    assert any("again in 0.1 s" in event.text for event in told)
    assert any("Traceback" in event.text for event in told)


def test_a_property_that_no_worker_bears_is_told_and_not_started(misbehaved):
    row = misbehaved[0]["large"]
    assert row.status == "refused"
    assert "needs about 10,000 MiB; the largest worker has 100" in row.message


def test_workers_are_so_few_that_each_bears_the_largest_property():
    assert fitting_workers(4, 8_000, 2_000).count == 4
    assert fitting_workers(4, 8_000, 3_000).count == 2
    assert fitting_workers(4, 8_000, 9_000).count == 1
