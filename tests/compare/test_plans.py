"""Comparisons of plans that the pipeline made."""

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pandas as pd
import pyogrio
import pytest

from soakline.compare.comparison import Comparison
from soakline.compare.items import SWALE_ITEMS
from soakline.compare.plans import compare_plans
from tests.compare.plans import in_another_crs

pytestmark = pytest.mark.slow

SUMS = {
    "spillways": "count(*)",
    "sill_length_m": "sum(sill_length_m)",
    "check_peak_m3s": "sum(peak_m3s)",
}
Edited = Callable[..., Comparison]


def rows(plan: Path, sql: str) -> list[tuple]:
    with closing(sqlite3.connect(f"file:{plan}?mode=ro", uri=True)) as database:
        return database.execute(sql).fetchall()


def one(plan: Path, sql: str) -> float:
    return rows(plan, sql)[0][0]


def total(comparison: Comparison, item: str, side: str) -> float:
    figures = comparison.figures
    found = figures[(figures["scope"] == "plan") & (figures["item"] == item)]
    assert len(found) == 1
    return float(found[side].iloc[0])


def word(comparison: Comparison, item: str, side: str) -> dict[str, str]:
    words = comparison.words
    chosen = words[(words["scope"] == "swale") & (words["item"] == item)]
    return dict(zip(chosen["id"], chosen[side], strict=True))


@pytest.mark.parametrize("item", [item.name for item in SWALE_ITEMS])
def test_every_figure_is_that_of_the_plan_to_the_bit(plans, wetter, item):
    found = wetter.of_swales(item)
    assert list(found.index) == ["S001", "S002", "S003", "S004"]
    if item in SUMS:
        sql = f"SELECT swale_id, {SUMS[item]} FROM spillways GROUP BY swale_id"  # noqa: S608
    else:
        sql = f"SELECT swale_id, {item} FROM swales"  # noqa: S608 - names of our own list
    for side, plan in (("a", "usual"), ("b", "wetter")):
        assert found[side].to_dict() == dict(rows(plans[plan], sql))


def test_change_is_b_less_a_and_its_share_of_a(wetter):
    figures = wetter.figures.dropna(subset=["a", "b"])
    assert (figures["change"] == figures["b"] - figures["a"]).all()
    for row in figures[figures["a"] != 0].itertuples():
        assert row.change_pct == pytest.approx(100 * (row.b / row.a - 1), abs=1e-9)
    assert figures.loc[figures["a"] == 0, "change_pct"].isna().all()


@pytest.mark.parametrize("name", ["usual", "wetter"])
def test_totals_are_those_of_the_plan(plans, wetter, name):
    plan, side = plans[name], "a" if name == "usual" else "b"
    for item, sql in {
        "swales": "SELECT count(*) FROM swales",
        "length_m": "SELECT sum(length_m) FROM swales",
        "capacity_m3": "SELECT sum(capacity_m3) FROM swales",
        "design_overflow_m3": "SELECT sum(design_overflow_m3) FROM swales",
        "design_peak_m3s": "SELECT max(design_peak_m3s) FROM swales",
        "freeboard_m": "SELECT min(freeboard_m) FROM swales",
        "drain_down_h": "SELECT max(drain_down_h) FROM swales",
        "sill_length_m": "SELECT sum(sill_length_m) FROM spillways",
        "spilling_swales": "SELECT count(*) FROM swales WHERE design_overflow_m3 > 0",
        "caution_findings": "SELECT count(*) FROM findings WHERE severity = 'caution'",
    }.items():
        assert total(wetter, item, side) == pytest.approx(one(plan, sql), rel=1e-12)


def test_what_runs_past_the_last_swales_is_the_overflow_of_those_that_spill_to_no_swale(
    plans, wetter
):
    last = "SELECT swale_id FROM overflow_routes WHERE to_kind != 'swale'"
    by_storm = (
        "SELECT max(gone) FROM (SELECT sum(overflow_m3) AS gone FROM swale_storms JOIN storms "  # noqa: S608
        f"USING (storm_id) WHERE purpose = 'design' AND swale_id IN ({last}) GROUP BY storm_id)"
    )
    for side, name in (("a", "usual"), ("b", "wetter")):
        # Some spill to a swale, or the sum over all would do.
        assert set(rows(plans[name], last)) == {("S003",), ("S004",)}
        assert total(wetter, "leaving_m3", side) == pytest.approx(
            one(plans[name], by_storm), rel=1e-9
        )


def test_more_rain_changes_the_water_and_not_the_lines(wetter):
    assert (wetter.of_swales("design_overflow_m3").eval("b - a") > 50).all()
    for item in ("length_m", "capacity_m3", "catchment_m2", "drain_down_h"):
        assert wetter.of_swales(item).eval("a == b").all()
    # Longer sills move their pegs, along which the cut is measured.
    assert wetter.of_swales("cut_m3").eval("abs(a - b) < 1e-6 * a").all()
    for pairs in wetter.pairs.values():
        assert (pairs.vanished, pairs.appeared, pairs.renumbered) == ((), (), ())


def test_the_record_tells_the_rain_table_by_name_and_checksum(plans, wetter):
    record = wetter.record.set_index("key")
    assert set(record.index) == {"run_file", "run_file_sha256", "rain.table", "input:rain"}
    assert list(record.loc["rain.table"]) == ["rain.csv", "wetter.csv"]
    assert (wetter.a.rain_table, wetter.b.rain_table) == ("rain.csv", "wetter.csv")
    kept = one(plans["wetter"], "SELECT value FROM run_record WHERE key = 'input:rain'")
    assert kept == f"wetter.csv sha256={wetter.b.rain_sha256}"
    assert len(wetter.b.rain_sha256) == 64


def test_findings_that_appeared_are_those_that_only_b_has(plans):
    """Four swales that hold the design storm in little rain spill in the usual one."""
    sql = "SELECT code, feature_id FROM findings"
    new = set(rows(plans["usual"], sql)) - set(rows(plans["drier"], sql))
    assert len(new) >= 4
    changed = compare_plans(plans["drier"], plans["usual"])
    found = changed.findings[changed.findings["a"].isna()]
    assert set(zip(found["code"], found["feature_id"], strict=True)) == new
    counts = changed.finding_counts
    assert (counts["b"] - counts["a"] == counts["appeared"] - counts["vanished"]).all()


def test_less_rain_leaves_swales_that_hold_the_design_storm(plans):
    drier = compare_plans(plans["usual"], plans["drier"])
    assert drier.now_holding == ("S001", "S002", "S003", "S004")
    assert drier.now_spilling == ()
    back = compare_plans(plans["drier"], plans["usual"])
    assert (back.now_spilling, back.now_holding) == (drier.now_holding, ())


def test_a_plan_is_like_itself(plans):
    same = compare_plans(plans["usual"], plans["usual"])
    assert (same.figures["change"].dropna() == 0).all()
    assert (same.words["a"] == same.words["b"]).all()
    assert same.findings.empty
    assert same.record.empty
    assert same.overlap_pct == 100.0


def test_comparing_the_other_way_round_turns_every_change(plans, wetter):
    back = compare_plans(plans["wetter"], plans["usual"])
    key = ["scope", "id", "item"]
    there, here = (c.figures.set_index(key)["change"].dropna() for c in (wetter, back))
    pd.testing.assert_series_equal(there, -here, check_like=True)
    assert len(back.findings) == len(wetter.findings)
    assert back.findings["b"].isna().all()


def test_swales_whose_numbers_moved_on_are_followed(plans, renumbered):
    pairs = renumbered.pairs["swales"]
    assert pairs.vanished == ("S001",)
    assert pairs.appeared == ()
    assert pairs.renumbered == (("S002", "S001"), ("S003", "S002"), ("S004", "S003"))
    by_id = dict(rows(plans["without_first"], "SELECT swale_id, capacity_m3 FROM swales"))
    assert renumbered.of_swales("capacity_m3")["b"].to_dict() == {
        a: by_id[b] for a, b in pairs.both
    }


def test_sills_routes_and_their_ends_follow_the_numbers(renumbered):
    assert renumbered.pairs["spillways"].vanished == ("S001-W1",)
    assert renumbered.pairs["overflow_routes"].vanished == ("S001-R1",)
    a, b = (word(renumbered, "overflow_to", side) for side in "ab")
    # In B, S001 spills to B's own S003, which is A's S004.
    assert a["S002"] == b["S002"] == "swale S004"
    assert word(renumbered, "swale_id", "b")["S002"] == "S001"


def test_findings_follow_the_numbers(renumbered):
    """All that changed is on the swale that vanished."""
    assert set(renumbered.findings["feature_id"]) == {"S001", "S001-R1"}
    assert renumbered.findings["b"].isna().all()


def test_figures_of_what_vanished_are_told_beside_nothing(plans, renumbered):
    figures = renumbered.figures
    gone = figures[figures["scope"] == "swale_vanished"].set_index("item")
    assert set(gone["id"]) == {"S001"}
    capacity = one(plans["usual"], "SELECT capacity_m3 FROM swales WHERE swale_id = 'S001'")
    assert gone.loc["capacity_m3", "a"] == capacity
    assert gone[["b", "change", "change_pct"]].isna().all(axis=None)


def test_a_plan_in_another_crs_is_the_same_plan(plans, tmp_path):
    moved = in_another_crs(plans["usual"], tmp_path / "moved.gpkg", "EPSG:32756")
    assert pyogrio.read_info(moved, layer="swales")["crs"] == "EPSG:32756"
    same = compare_plans(plans["usual"], moved)
    assert same.overlap_pct == pytest.approx(100.0, abs=1e-6)
    assert all(not p.vanished and not p.appeared for p in same.pairs.values())
    assert not same.moved_spillways


def test_nothing_is_written(plans):
    folder = plans["usual"].parent
    before = {file: file.read_bytes() for file in folder.iterdir()}
    compare_plans(plans["usual"], plans["wetter"])
    assert {file: file.read_bytes() for file in folder.iterdir()} == before
