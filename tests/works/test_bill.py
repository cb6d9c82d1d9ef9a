"""Hours and costs, by hand."""

import geopandas as gpd
import numpy as np
import pytest
from shapely import box

from soakline import tables
from soakline.inputs.machines import Machine, read_machines, soil_groups
from soakline.inputs.quantity_items import UNITS
from soakline.outputs.quantities import TOTAL, quantity_table
from soakline.runfile.keys import TEXTURES
from soakline.works.bill import Bill, Entry
from soakline.works.hours import machine_hours, texture_shares
from soakline.works.uphill import uphill_pairs

DIGGER = Machine(
    name="digger",
    bucket_widths_m=(0.3, 1.2),
    dig_depth_m=3.0,
    reach_m=5.0,
    least_bend_m=3.0,
    bank_m3_h={"sandy": 20.0, "loamy": 16.0, "clayey": 10.0},
    source="a test",
)
LINES = [np.array([[0.0, 0.0], [100.0, 0.0]]), np.array([[0.0, 50.0], [100.0, 50.0]])]


def soils(*rows: tuple[str | None, float, float]) -> gpd.GeoDataFrame:
    """Polygons of a texture from west to east over the first line."""
    return gpd.GeoDataFrame(
        {"texture": [texture for texture, _, _ in rows]},
        geometry=[box(west, -10.0, east, 10.0) for _, west, east in rows],
        crs="EPSG:32633",
    )


def bill(rates: dict[str, float] | None) -> Bill:
    entries = (
        Entry("cut", "m³", np.array([10.25, 20.5]), "cut"),
        Entry("machine hours, digger in loam", "h", np.array([1.5, 2.0]), "machine hours"),
        Entry("machine hours, digger in clay", "h", np.array([0.0, 0.25]), "machine hours"),
        Entry("diversion drain", "m", np.array([0.0, 0.0]), "diversion drain"),
    )
    return Bill(entries, rates)


def test_hours_are_bank_volume_over_output_soil_by_soil() -> None:
    """100 m³ on a lip of 60 m loam and 40 m clay: 60/16 h and 40/10 h; 32 m³ all in loam: 2 h."""
    shares = texture_shares(LINES, soils(("clay", 60.0, 120.0)), "loam")
    hours = machine_hours(np.array([100.0, 32.0]), shares, DIGGER)
    assert set(hours) == {"loam", "clay"}
    assert hours["loam"] == pytest.approx([3.75, 2.0])
    assert hours["clay"] == pytest.approx([4.0, 0.0])


def test_of_overlapping_soils_the_later_counts_and_shares_sum_to_one() -> None:
    """0 to 20 loam, to 40 clay, to 50 sand over clay, to 100 loam again: a blank tells nothing."""
    layer = soils(("clay", 20.0, 50.0), ("sand", 40.0, 50.0), (None, 70.0, 90.0))
    shares = texture_shares(LINES, layer, "loam")
    assert {name: float(own[0]) for name, own in shares.items()} == pytest.approx(
        {"sand": 0.1, "loam": 0.7, "clay": 0.2}
    )
    assert np.sum(list(shares.values()), axis=0) == pytest.approx([1.0, 1.0])


def test_every_texture_has_a_group_and_sand_digs_no_slower_than_clay() -> None:
    """Groups as USDA Soil Survey Manual (Agriculture Handbook 18), ch. 3, from memory: sandy clay,
    silty clay and clay are clayey; sands and loamy sands sandy; all others loamy.
    """
    assert set(soil_groups()) == set(TEXTURES)
    clayey = {texture for texture, group in soil_groups().items() if group == "clayey"}
    assert clayey == {"sandy-clay", "silty-clay", "clay"}
    for machine in read_machines(tables.table("machines.csv")).values():
        sandy, loamy, clay = (machine.hourly_m3(own) for own in ("sand", "loam", "clay"))
        assert sandy >= loamy >= clay
        assert machine.source


def test_costs_to_the_cent() -> None:
    """30.75 m³ at 4.20 is 129.15; 3.5 h and 0.25 h at 95.60 are 334.60 and 23.90; 487.65 in all."""
    own = bill({"cut": 4.2, "machine hours": 95.6})
    table = quantity_table(own).set_index("item")
    assert table.cost.round(2).to_dict() == pytest.approx(
        {
            "cut": 129.15,
            "machine hours, digger in loam": 334.60,
            "machine hours, digger in clay": 23.90,
            "diversion drain": np.nan,
            TOTAL: 487.65,
        },
        nan_ok=True,
    )
    assert own.swale_cost == pytest.approx([43.05 + 143.40, 86.10 + 191.20 + 23.90])
    assert own.cost == pytest.approx(own.swale_cost.sum())


def test_without_rates_nothing_has_a_cost_and_there_is_no_total() -> None:
    for own in (bill(None), bill({})):
        table = quantity_table(own)
        assert TOTAL not in set(table.item)
        assert table.rate.isna().all()
        assert table.cost.isna().all()
        assert own.swale_cost is None


def test_a_rate_of_nothing_is_a_rate() -> None:
    own = bill({"cut": 0.0})
    assert own.cost == 0.0
    assert own.unpriced == ["machine hours, digger in loam", "machine hours, digger in clay"]


def test_only_runoff_that_crosses_the_lip_itself_makes_a_pair() -> None:
    """Rows fall to the south (code 6), the last ends; lips on rows 1 and 4, a third beside."""
    direction = np.full((6, 4), 6, dtype=np.uint8)
    direction[5] = 8
    burnt = np.zeros((6, 4), dtype=np.int32)
    burnt[1, :3], burnt[4, :3], burnt[2, 3] = 1, 2, 3
    label = np.full((6, 4), -1, dtype=np.int32)
    label[:2, :3], label[2:5, :3], label[:3, 3] = 1, 2, 3
    assert uphill_pairs(burnt, label, direction) == [(0, 1)]


def test_items_that_may_have_a_rate_have_a_unit() -> None:
    assert set(UNITS.values()) == {"number", "m", "m²", "m³", "h", "t"}
