"""What stands in the page: every swale, every unit, nothing from outside, no markup from names."""

import re

import numpy as np
import pandas as pd
import pyogrio
import pytest
from lxml import html

from soakline.outputs.columns import SCHEMAS
from soakline.report.chains import anchor
from soakline.report.drawings import section_points
from soakline.report.files import ReportOptions, write_report
from soakline.report.read import read_plan
from tests.report.conftest import HOSTILE, changed

pytestmark = pytest.mark.slow


def swale_ids(plan_path):
    return pyogrio.read_dataframe(plan_path, layer="swales", read_geometry=False)["swale_id"]


def test_every_swale_has_a_place_of_its_own_and_is_linked_to(page, plan_path):
    ids = swale_ids(plan_path)
    assert len(ids) > 3
    for swale_id in ids:
        (place,) = page.xpath(f"//article[@id='{anchor(swale_id)}']")
        assert len(place.xpath(".//svg[@role='img']")) == 4
        assert page.xpath(f"//table[@id='all-swales']//a[@href='#{anchor(swale_id)}']")


def test_every_link_leads_to_a_place_in_the_page(page):
    places = page.xpath("//@id")
    assert len(places) == len(set(places))
    for address in page.xpath("//a/@href"):
        assert address.removeprefix("#") in places, address


def test_nothing_is_loaded_from_anywhere(page):
    loaded = page.xpath("//@src | //link/@href | //@srcset | //@poster | //object/@data")
    assert loaded
    assert all(address.startswith("data:") for address in loaded)
    for style in page.xpath("//style/text() | //@style"):
        assert "url(" not in style
        assert "@import" not in style
    (rule,) = page.xpath("//meta[@http-equiv='Content-Security-Policy']/@content")
    assert "default-src 'none'" in rule
    assert "http" not in rule


def test_every_figure_of_a_table_has_its_unit_in_the_heading(page):
    units = {c.title: c.unit for c in SCHEMAS["swales"].columns if c.unit}
    heads = page.xpath("//table[@id='all-swales' or @id='build-order']/thead//th")
    told = {h.text.strip(): h.findtext("span") for h in heads}
    assert len(told) > 12
    assert all(told[title] == f"({unit})" for title, unit in units.items() if title in told)
    # Ranks, counts and years stand alone.
    without = {"Swale", "Group", "Stop, caution", "Build order", "Phase", "Cost"}
    assert {title for title, unit in told.items() if unit is None} <= without


def test_every_key_figure_has_its_unit(page):
    units = {c.title: c.unit for c in SCHEMAS["swales"].columns if c.unit}
    seen = 0
    for one in page.xpath("//article//dl/div"):
        title, text = one.findtext("dt"), one.findtext("dd")
        if title in units:
            seen += 1
            assert text.endswith(" " + units[title]), (title, text)
    assert seen > 40
    for text in page.xpath("//dl[contains(@class, 'key')]/div/dd/text()"):
        assert re.fullmatch(r"[\d\u202f.]+ (ha|%|swales?|groups?|km|m³|h|safe points?)", text), text


def test_figures_are_the_plans(page, plan_path):
    swales = pyogrio.read_dataframe(plan_path, layer="swales", read_geometry=False)
    first = swales.iloc[0]
    figures = {
        one.findtext("dt"): one.findtext("dd")
        for one in page.xpath(f"//article[@id='{anchor(first['swale_id'])}']//dl/div")
    }
    assert figures["Full water level"] == f"{first['level_m']:.2f} m"
    assert figures["Length"] == f"{first['length_m']:.1f} m"
    held = f"{swales['capacity_m3'].sum():,.0f} m³".replace(",", "\u202f")
    assert held in page.xpath("//dl[contains(@class, 'key')]//dd/text()")


def test_every_finding_stands_there_with_what_to_do(page, plan_path):
    findings = pyogrio.read_dataframe(plan_path, layer="findings", read_geometry=False)
    text = " ".join(page.xpath("string(//main)").split())
    for row in findings.itertuples():
        assert row.message in text
        assert row.advice in text


def test_every_input_key_and_default_is_told(page, plan_path):
    record = pyogrio.read_dataframe(plan_path, layer="run_record", read_geometry=False)
    defaults = record.loc[record["key"].str.startswith("default:"), "key"]
    rows = {
        row.findtext("th"): row.xpath("string(td[3])")
        for row in page.xpath("//table[@id='keys']//tr")
    }
    assert len(defaults) > 50
    assert all(rows[key.removeprefix("default:")] == "default" for key in defaults)
    digest = record.loc[record["key"] == "input:dem", "value"].iloc[0].rpartition("sha256=")[2]
    assert digest in page.xpath("string(//table[@id='inputs'])")


def test_names_with_markup_are_shown_and_not_obeyed(hostile_path, page):
    text = hostile_path.read_text(encoding="utf-8")
    hostile = html.fromstring(text)
    assert hostile.xpath("string(//h1)") == f"Swale plan of {HOSTILE}"
    assert not hostile.xpath("//img[@onerror]")
    assert len(hostile.xpath("//script")) == len(page.xpath("//script"))
    assert "<script>alert" not in text
    assert len(hostile.xpath("//article")) == len(page.xpath("//article"))


def test_a_plan_without_swales_still_has_a_report(plan_path, tmp_path):
    def emptied(database):
        for table in ("swales", "pegs", "spillways", "overflow_routes", "swale_storms", "storms",
                      "crossings", "swale_catchments", "swale_ground"):  # fmt: skip
            database.execute(f"DELETE FROM {table}")

    plan = changed(plan_path, tmp_path / "none.gpkg", emptied)
    (out,) = write_report(plan, ReportOptions())
    assert "This plan has no swales" in out.read_text(encoding="utf-8")


def without_elevation(database):
    database.execute("DROP TABLE elevation")
    for table in ("gpkg_contents", "gpkg_tile_matrix", "gpkg_tile_matrix_set"):
        database.execute(f"DELETE FROM {table} WHERE table_name = 'elevation'")


def test_without_rasters_the_ground_is_that_of_the_same_dem_or_none(plan_path, tmp_path):
    plan = changed(plan_path, tmp_path / "plan.gpkg", without_elevation)
    dem = tmp_path / "dem.tif"

    def told():
        (out,) = write_report(plan, ReportOptions())
        return out.read_text(encoding="utf-8")

    assert "No hillshade: the plan holds no elevation, and dem.tif is not beside it." in told()
    dem.write_bytes((plan_path.parent / "dem.tif").read_bytes())
    assert "Hillshade of dem.tif, the DEM of the plan." in told()
    dem.write_bytes(dem.read_bytes() + b"\0")
    assert "No hillshade: the plan holds no elevation, and dem.tif is not the DEM" in told()


def test_years_and_trees_are_told_where_the_plan_has_them(plan_path, tmp_path):
    ids = list(swale_ids(plan_path))

    def added(database):
        names = ("rain_mm", "runoff_m3", "received_m3", "soaked_m3", "evaporated_m3", "spilled_m3")
        both = ("stress_days", "stress_days_without")
        columns = ", ".join(("swale_id", "year", *names, "wet_days", *both))
        rows = [
            (i, year, 700.0, 50.0, 0.0, 40.0, 5.0, 5.0, 30, 20.0 * year, 50.0)
            for i in ids
            for year in (1, 2, 3)
        ]
        database.executemany(
            f"INSERT INTO water_years ({columns}) VALUES (?,?,?,?,?,?,?,?,?,?,?)",
            rows,
        )
        # Trees stand between the swales above the first two, on 1 and on 3 ha.
        database.executemany(
            "UPDATE water_years SET between_rooted_m2 = ?, between_tree_use_m3 = 900.0, "
            "between_stress_days = ? WHERE swale_id = ?",
            [(10_000.0, 20.0, ids[0]), (30_000.0, 60.0, ids[1])],
        )

    plan = changed(plan_path, tmp_path / "plan.gpkg", added)
    (out,) = write_report(plan, ReportOptions())
    page = html.fromstring(out.read_text(encoding="utf-8"))
    rows = page.xpath("//table[@id='years-table']/tbody/tr")
    assert len(rows) == 3
    assert rows[0].xpath("string(td[3])") == f"{40 * len(ids):,}".replace(",", "\u202f")
    assert len(page.xpath("//table[@id='swale-years']/tbody/tr")) == len(ids)
    rows = page.xpath("//table[@id='plants-table']/tbody/tr")
    assert [[row.xpath(f"string(td[{k}])") for k in (3, 4)] for row in rows] == [
        ["20", "50"], ["40", "50"], ["60", "50"]
    ]  # fmt: skip
    between = page.xpath("//table[@id='between-years']")[0]
    assert "4.00 ha" in between.xpath("string(caption)")
    (first, *others) = between.xpath("tbody/tr")
    assert len(others) == 2
    assert first.xpath("string(td[2])") == "1\u202f800"
    assert first.xpath("string(td[last()])") == "50"  # by area: (20 + 3 · 60) / 4


def test_every_swale_has_its_hydrograph_and_every_storm_its_row(page, plan_path):
    storms = pyogrio.read_dataframe(plan_path, layer="storms", read_geometry=False)
    told = pyogrio.read_dataframe(plan_path, layer="swale_storms", read_geometry=False)
    drawings = page.xpath("//article//svg[starts-with(@aria-label, 'Hydrograph')]")
    assert len(drawings) == len(swale_ids(plan_path))
    rows = {
        row.findtext("th"): row.xpath("string(td[last()-1])")
        for row in page.xpath("//table[@id='storms-table']/tbody/tr")
    }
    assert set(rows) == set(storms["storm_id"])
    least = told.groupby("storm_id")["freeboard_m"].min()
    assert rows == {storm: f"{metres:.2f}" for storm, metres in least.items()}


def test_the_calendar_is_told_month_by_month(plan_path, tmp_path):
    def added(database):
        database.execute(
            'INSERT INTO calendar (year, month, task, "where", amount, unit, advice) '
            "VALUES (1, 4, 'seed bare earth', 'all swales', 12.5, 'm²', 'after rain')"
        )

    plan = changed(plan_path, tmp_path / "plan.gpkg", added)
    (out,) = write_report(plan, ReportOptions())
    rows = html.fromstring(out.read_text(encoding="utf-8")).xpath("//table[@id='calendar']//tr")
    assert "April" in rows[-1].xpath("string(.)")
    assert "seed bare earth" in rows[-1].xpath("string(.)")


def test_the_file_stays_small(report_path, plan_path):
    """What each swale adds, times 500, and what stands there once: under 10 MB."""
    size, page = report_path.stat().st_size, report_path.read_text(encoding="utf-8")
    groups = page.index('id="rain-section"') - page.index('id="groups"')
    each = groups / len(swale_ids(plan_path))
    assert size - groups + 500 * (each + 600) < 10e6  # 600: a row of tables, a line of the map


def test_a_section_closes_on_its_ground():
    row = {
        "base_width_m": 1.5, "depth_m": 0.5, "batter": 1.5, "slope_pct": 10.0,
        "mound_height_m": 0.3, "mound_crest_m": 0.8, "berm_m": 0.6,
    }  # fmt: skip
    parts = {name: np.array(own) for name, own in section_points(row, 2.0).items()}
    top, toe = parts["trench"][-1], parts["mound"][-1]
    assert top[1] == pytest.approx(-0.1 * top[0])
    assert toe[1] == pytest.approx(-0.1 * toe[0])
    assert np.diff(parts["trench"], axis=0)[0] == pytest.approx([-0.75, -0.5])
    # Shoelace: at no slope the water's area is depth × (base + batter × depth).
    x, y = parts["water"].T
    area = 0.5 * abs(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1)))
    assert area == pytest.approx(0.5 * (1.5 + 1.5 * 0.5))


def test_every_group_is_told_once_and_in_the_water_s_order(plan_path):
    plan = read_plan(plan_path)
    from soakline.report.chains import chains_of  # noqa: PLC0415

    chains = chains_of(plan.layers)
    members = [swale for chain in chains for swale in chain.swales]
    assert sorted(members) == sorted(swale_ids(plan_path))
    place = {swale: k for k, swale in enumerate(members)}
    routes = pd.DataFrame(plan.layers["overflow_routes"])
    inner = routes[routes["to_kind"] == "swale"]
    assert all(place[a] < place[b] for a, b in zip(inner["swale_id"], inner["to_id"], strict=True))
