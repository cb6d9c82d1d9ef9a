"""Comparisons with a copy of a plan in which one thing was changed by hand."""

import numpy as np
import pandas as pd
import pytest
from shapely.affinity import translate

from soakline.compare.plans import compare_plans
from soakline.compare.table import as_text
from soakline.problems import InputRefused
from tests.compare.plans import changed_copy, setting, without

pytestmark = pytest.mark.slow


def test_a_swale_taken_out_vanished_with_its_sill_and_route(edited):
    found = edited(
        swales=without(swale_id="S002"),
        spillways=without(swale_id="S002"),
        overflow_routes=without(swale_id="S002"),
    )
    assert found.pairs["swales"].vanished == ("S002",)
    assert found.pairs["spillways"].vanished == ("S002-W1",)
    assert found.pairs["overflow_routes"].vanished == ("S002-R1",)
    assert list(found.of_swales("capacity_m3").index) == ["S001", "S003", "S004"]


def test_a_lip_moved_down_the_hill_vanished_and_another_appeared(edited):
    def moved(frame):
        frame.loc[frame["swale_id"] == "S003", "geometry"] = [
            translate(frame.set_index("swale_id").geometry["S003"], 12.0, 0.0)
        ]
        return frame

    found = edited(swales=moved)
    assert found.pairs["swales"].vanished == found.pairs["swales"].appeared == ("S003",)
    words = found.words.set_index(["scope", "id", "item"])
    # S001 still spills to "S003", which is another line now.
    to = words.loc[("swale", "S001", "overflow_to")]
    assert (to["a"], to["b"]) == ("swale S003", "swale S003 of B")


def test_safe_points_appear_and_vanish_by_place(edited):
    def one_more(frame):
        extra = frame.iloc[[0]].copy()
        extra["safe_id"] = "O9"
        extra["geometry"] = extra.geometry.translate(0.0, 40.0)
        return pd.concat([frame, extra], ignore_index=True)

    assert edited(safe_points=one_more).pairs["safe_points"].appeared == ("O9",)


def test_a_finding_added_by_hand_appeared(edited):
    def one_more(frame):
        extra = frame.iloc[[0]].copy()
        extra[["code", "severity", "layer", "feature_id"]] = [
            "no_safe_end",
            "stop",
            "swales",
            "S003",
        ]
        return pd.concat([frame, extra], ignore_index=True)

    found = edited(findings=one_more)
    assert found.findings.to_dict("records") == [
        {"code": "no_safe_end", "layer": "swales", "feature_id": "S003", "a": None, "b": "stop"}
    ]
    counts = found.finding_counts.set_index("code")
    assert counts.loc["no_safe_end", ["severity", "a", "b", "appeared", "vanished"]].to_list() == [
        "stop", 0, 1, 1, 0
    ]  # fmt: skip


def test_a_finding_that_weighs_more_changed(edited):
    found = edited(findings=setting("severity", "stop", code="drains_slowly", feature_id="S003"))
    assert found.findings[["code", "feature_id", "a", "b"]].to_numpy().tolist() == [
        ["drains_slowly", "S003", "caution", "stop"]
    ]
    counts = found.finding_counts.set_index(["code", "severity"])
    assert counts.loc[("drains_slowly", "caution")].to_list() == [4, 3, 0, 1]
    assert counts.loc[("drains_slowly", "stop")].to_list() == [0, 1, 1, 0]


def test_the_same_finding_twice_is_two_findings(edited):
    found = edited(findings=lambda frame: pd.concat([frame, frame.tail(1)], ignore_index=True))
    assert len(found.findings) == 1


def test_swales_that_now_spill_are_named(plans, tmp_path):
    dry = changed_copy(
        plans["usual"],
        tmp_path / "dry.gpkg",
        {"swales": setting("design_overflow_m3", 0.0, swale_id="S001")},
    )
    assert compare_plans(dry, plans["usual"]).now_spilling == ("S001",)
    assert compare_plans(plans["usual"], dry).now_holding == ("S001",)


def test_swales_with_less_freeboard_than_asked_are_named(plans, tmp_path):
    short = changed_copy(
        plans["usual"],
        tmp_path / "short.gpkg",
        {"swales": setting("freeboard_m", 0.149, swale_id="S004")},
    )
    found = compare_plans(plans["usual"], short).freeboard_short
    assert found.to_dict("index") == {
        "S004": {"freeboard_m": 0.149, "asked_m": 0.15, "before": False}
    }
    assert compare_plans(short, short).freeboard_short["before"].to_list() == [True]
    assert compare_plans(short, plans["usual"]).freeboard_short.empty


def test_another_governing_storm_and_another_end_are_told(edited):
    found = edited(
        swales=setting("governing_storm_id", "design-60min-uniform", swale_id="S003"),
        overflow_routes=lambda frame: setting("to_id", None, swale_id="S004")(
            setting("to_kind", "property_edge", swale_id="S004")(frame)
        ),
    )
    words = found.words[found.words["a"] != found.words["b"]]
    told = {(r.scope, r.id, r.item): r.b for r in words.itertuples()}
    assert told == {
        ("swale", "S003", "governing_storm_id"): "design-60min-uniform",
        ("swale", "S004", "overflow_to"): "property_edge",
        ("route", "S004-R1", "overflow_to"): "property_edge",
    }


def test_a_swale_that_was_built_in_between_is_told(edited):
    found = edited(swales=setting("state", "built", swale_id="S002"))
    words = found.words[found.words["a"] != found.words["b"]]
    told = [(r.scope, r.id, r.item, r.a, r.b) for r in words.itertuples()]
    assert told == [("swale", "S002", "state", "planned", "built")]
    assert "1 swale is built by now: S002." in as_text(found)
    assert "State\n  S002: planned → built" in as_text(found)


def test_a_spillway_that_moved_is_the_same_and_told(edited):
    found = edited(spillways=lambda f: f.set_geometry(f.geometry.translate(3.0, 4.001)))
    assert found.pairs["spillways"].vanished == ()
    assert found.moved_spillways == tuple(f"S00{i}-W1" for i in range(1, 5))


def test_null_figures_stay_null(edited):
    found = edited(
        swales=setting("freeboard_m", np.nan), spillways=without(swale_id="S003"),
        overflow_routes=without(swale_id="S003"),
    )  # fmt: skip
    figures = found.figures.set_index(["scope", "id", "item"])
    freeboard = figures.loc[("swale", "S001", "freeboard_m")]
    assert freeboard["a"] == pytest.approx(0.15)
    assert freeboard[["b", "change", "change_pct"]].isna().all()
    assert figures.loc[("swale", "S003", "spillways"), "b"] == 0
    assert np.isnan(figures.loc[("swale", "S003", "sill_length_m"), "b"])
    assert np.isnan(figures.loc[("plan", "", "freeboard_m"), "b"])


def test_quantities_are_matched_by_item_and_unit_and_priced_where_a_rate_is_given(edited):
    def priced(frame):
        frame = setting("rate", 12.0, item="cut")(frame)
        frame = setting("cost", 1200.0, item="cut")(frame)
        return setting("unit", "km", item="lip")(frame)

    figures = edited(quantities=priced).figures
    rows = figures[figures["scope"] == "quantity"].set_index(["id", "item", "unit"])
    assert rows.loc[("cut", "cost", ""), "b"] == 1200.0
    assert rows.loc[("cut", "rate", "per m³"), "b"] == 12.0
    assert ("fill, settled", "cost", "") not in rows.index
    assert np.isnan(rows.loc[("lip", "amount", "m"), "b"])
    assert np.isnan(rows.loc[("lip", "amount", "km"), "a"])


def test_plans_without_swales_are_compared(plans, tmp_path):
    layers = ("swales", "spillways", "overflow_routes", "safe_points", "swale_storms", "findings")
    bare = changed_copy(plans["usual"], tmp_path / "bare.gpkg", {n: without() for n in layers})
    found = compare_plans(bare, bare)
    assert found.of_swales("capacity_m3").empty
    assert found.finding_counts.empty
    assert compare_plans(bare, plans["usual"]).pairs["swales"].appeared == (
        "S001", "S002", "S003", "S004"
    )  # fmt: skip


def test_ids_that_stand_twice_are_refused(edited):
    with pytest.raises(InputRefused, match=r"copy\.gpkg: swales\.swale_id: found S001 more than"):
        edited(swales=setting("swale_id", "S001", swale_id="S002"))


def test_a_missing_id_is_refused(edited):
    with pytest.raises(InputRefused, match=r"safe_points\.safe_id: found a feature without an id"):
        edited(safe_points=setting("safe_id", None))


def test_a_missing_column_is_named_with_its_table(edited):
    with pytest.raises(
        InputRefused, match=r"copy\.gpkg: table swales: found no column capacity_m3"
    ):
        edited(swales=lambda frame: frame.drop(columns="capacity_m3"))


def test_problems_of_both_files_come_together(plans, tmp_path):
    broken = changed_copy(
        plans["usual"], tmp_path / "b.gpkg", {"findings": lambda f: f.drop(columns="code")}
    )
    with pytest.raises(InputRefused) as refused:
        compare_plans(tmp_path / "none.gpkg", broken)
    assert [problem.file for problem in refused.value.problems] == [
        str(tmp_path / "none.gpkg"), str(broken)
    ]  # fmt: skip
