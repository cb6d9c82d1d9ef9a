"""What is printed: for people, as JSON and as CSV."""

import io
import json
import math
import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from soakline.compare.export import CSV_COLUMNS, as_csv, as_json
from soakline.compare.plans import compare_plans
from soakline.compare.printed import change, changed, figure, grid
from soakline.compare.table import as_text
from tests.compare.plans import changed_copy, setting

PAGE = Path(__file__).parents[2] / "docs" / "compare.md"


def words_of(text: str) -> list[str]:
    return [" ".join(line.split()) for line in text.splitlines()]


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (1234.56, "m³", "1,234.6"),
        (0.4, "m²", "0"),
        (-0.0004, "m³/s", "0.000"),
        (71.0, "number", "71"),
        (0.15, "m", "0.15"),
        (2.5, "per m³", "2.50"),
        (math.nan, "m", "–"),
    ],
)
def test_figures_are_printed_to_the_places_of_their_unit(value, unit, text):
    assert figure(value, unit) == text


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [(0.06, "m³", "+0.1"), (-1204.0, "m²", "-1,204"), (0.004, "m", ""), (math.nan, "m", "")],
)
def test_a_change_that_is_nothing_as_printed_is_left_blank(value, unit, text):
    assert change(value, unit) == text


def test_a_change_counts_from_half_of_the_last_printed_place():
    rows = [
        ("m³", 1.0, 1.04), ("m³", 1.0, 1.06), ("m", 1.0, np.nan), ("m", np.nan, np.nan),
        ("m³/s", 0.1, 0.1004), ("m³/s", 0.1, 0.0994),
    ]  # fmt: skip
    frame = pd.DataFrame(rows, columns=["unit", "a", "b"]).assign(change=lambda f: f["b"] - f["a"])
    assert list(changed(frame)) == [False, True, True, False, False, True]


def test_columns_are_as_wide_as_they_need():
    assert grid([("a", "b"), ("long", "1")], 1) == ["a     b", "long  1"]


@pytest.mark.slow
@pytest.mark.parametrize("everything", [False, True])
@pytest.mark.parametrize("name", ["wetter", "drier", "without_first"])
def test_no_line_is_over_100_columns(plans, name, everything):
    text = as_text(compare_plans(plans["usual"], plans[name]), everything)
    assert max(map(len, text.splitlines())) <= 100
    assert not re.search(r"[ \t]$", text, re.MULTILINE)


@pytest.mark.slow
def test_sentences_come_first_and_tell_the_spill(wetter):
    lines = as_text(wetter).splitlines()
    assert lines[:5] == [
        f"A: usual.gpkg, test, rain rain.csv ({wetter.a.rain_sha256[:12]}…)",
        f"B: wetter.gpkg, test, rain wetter.csv ({wetter.b.rain_sha256[:12]}…)",
        "",
        "Both plans hold the same 4 swales.",
        "4 of 4 swales spill more in the design storm, none spills less.",
    ]
    assert "rain table (rain.csv, now wetter.csv)" in as_text(wetter)


@pytest.mark.slow
def test_tables_have_units_in_their_heads_and_the_plan_s_own_figures(wetter):
    lines = words_of(as_text(wetter))
    assert "Swales inflow, m³ spill, m³ peak spill, m³/s" in lines
    spill = wetter.of_swales("design_overflow_m3")
    row = next(line for line in lines if line.startswith("S003 "))
    for side in "ab":
        assert f" {spill.loc['S003', side]:,.1f} " in row
    assert lines.index("Totals unit A B change %") < lines.index(row)


@pytest.mark.slow
def test_what_did_not_change_is_told_only_when_asked_for(wetter):
    some, everything = words_of(as_text(wetter)), words_of(as_text(wetter, everything=True))
    assert any(line.startswith("No change in swales, length, capacity") for line in some)
    assert not any("drain-down, h" in line for line in some)
    assert any("drain-down, h" in line for line in everything)
    assert any(line.startswith("water held m³") for line in everything)
    # The plan's list of quantities has the totals again.
    assert not any(line.startswith("water held m³") for line in some)


@pytest.mark.slow
def test_rows_without_a_change_are_left_out(plans, tmp_path):
    one = changed_copy(
        plans["usual"], tmp_path / "one.gpkg", {"swales": setting("cut_m3", 1.0, swale_id="S002")}
    )
    comparison = compare_plans(plans["usual"], one)
    lines = as_text(comparison).splitlines()
    assert [line[:4] for line in lines if re.match(r"S\d{3}\b", line)] == ["S002"]
    assert "Every swale spills what it did in the design storm: 4 of 4 spill." in lines
    assert "Inputs and settings are the same." in lines


@pytest.mark.slow
def test_a_plan_beside_itself_has_no_table(plans):
    text = as_text(compare_plans(plans["usual"], plans["usual"]))
    assert text.endswith("\n\nTotals: no change")


@pytest.mark.slow
def test_other_ids_are_told_and_what_follows_from_a_lost_swale_is_not(renumbered):
    text = as_text(renumbered)
    assert "Of 4 swales in A, 3 are in B too, 1 vanished; 0 appeared; 3 bear another id" in text
    lines = words_of(text)
    assert "1 swale vanished: S001" in lines
    assert "other ids: S002 is S001 in B, S003 is S002 in B, S004 is S003 in B" in lines
    assert "S001-W1" not in text
    assert "S001-W1" in as_text(renumbered, everything=True)
    assert "capacity_short caution 4 3 0 1" in lines


@pytest.mark.slow
def test_files_of_one_name_are_told_apart_by_their_folders(plans, tmp_path):
    copy = changed_copy(plans["usual"], tmp_path / "usual.gpkg", {})
    lines = as_text(compare_plans(plans["usual"], copy)).splitlines()
    assert lines[0].startswith(f"A: {plans['usual']}"[:99])
    assert lines[1].startswith(f"B: {copy}"[:99])


@pytest.mark.slow
def test_json_has_the_documented_keys_and_every_figure_in_full(wetter, renumbered):
    for comparison in (wetter, renumbered):
        text = as_json(comparison)
        facts = json.loads(text, parse_constant=pytest.fail)
        page = PAGE.read_text(encoding="utf-8").partition("## JSON")[2]
        documented = [
            key
            for row in re.findall(r"^\| (`.*?) \| ", page, re.MULTILINE)
            for key in re.findall(r"`(\w+)`", row)
        ]
        assert list(facts) == documented
        spill = comparison.of_swales("design_overflow_m3")
        both = {s["id"]: s["figures"] for s in facts["swales"] if s["state"] == "both"}
        assert {name: f["design_overflow_m3"]["b"] for name, f in both.items()} == spill[
            "b"
        ].to_dict()
    gone = [swale for swale in facts["swales"] if swale["state"] == "vanished"]
    assert [swale["id"] for swale in gone] == ["S001"]
    assert gone[0]["figures"]["capacity_m3"]["b"] is None
    assert gone[0]["words"]["swale_id"] == {"a": "S001", "b": None}


@pytest.mark.slow
def test_csv_is_tidy_and_in_full(wetter, renumbered):
    for comparison in (wetter, renumbered):
        table = pd.read_csv(io.StringIO(as_csv(comparison)), dtype=str, keep_default_na=False)
        assert tuple(table.columns) == CSV_COLUMNS
        assert not table.duplicated(["scope", "id", "item", "unit"]).any()
        head = table.iloc[: len(comparison.figures)]
        for name in ("a", "b", "change", "change_pct"):
            np.testing.assert_array_equal(
                pd.to_numeric(head[name]).to_numpy(), comparison.figures[name].to_numpy()
            )
        rain = table[(table["scope"] == "record") & (table["item"] == "input:rain")]
        assert len(rain) == ("input:rain" in set(comparison.record["key"]))
    texts = table.set_index(["scope", "id", "item"])
    assert texts.loc[("swale", "S002", "swale_id"), ["a", "b", "change"]].to_list() == [
        "S002", "S001", "changed"
    ]  # fmt: skip
    assert texts.loc[("swale_vanished", "S001", "swale_id"), "change"] == "vanished"
    assert texts.loc[("finding", "S001", "capacity_short"), ["a", "b", "change"]].to_list() == [
        "caution", "", "vanished"
    ]  # fmt: skip


def test_every_figure_is_documented():
    from soakline.compare.items import PLAN_ITEMS, SPILLWAY_ITEMS, SWALE_ITEMS  # noqa: PLC0415

    page = PAGE.read_text(encoding="utf-8")
    for item in (*SWALE_ITEMS, *SPILLWAY_ITEMS, *PLAN_ITEMS[1:]):
        assert f"`{item.name}`" in page
