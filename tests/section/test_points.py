"""Ponds, basins and pits: volumes against sums of thin layers, the soil that each is for."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakline import tables
from soakline.runfile.sections import SwalePointKeys
from soakline.runfile.swale_point_section import POINT_KINDS
from soakline.section.points import (
    basin_m3,
    deepest_pond_m,
    point_problems,
    point_rules,
    pond_m3,
)
from soakline.section.soils import soils
from soakline.section.trench import Trench, trenches_of

LAYERS = 20_000


def thin_layers(height_m: float) -> np.ndarray:
    """Middles of thin layers of some height together, m."""
    return (np.arange(LAYERS) + 0.5) * height_m / LAYERS


@given(
    base=st.floats(0.6, 3.0),
    batter=st.floats(0.5, 3.0),
    length=st.floats(2.0, 30.0),
    share=st.floats(0.05, 1.0),
)
def test_a_pond_is_the_sum_of_its_layers_and_its_floor_is_left(
    base: float, batter: float, length: float, share: float
) -> None:
    rule = point_rules()["pond"]
    trench = trenches_of([Trench(base, 0.5, batter)])
    deepest = float(deepest_pond_m(trench, np.array([length]), rule)[0])
    floor = min(base - 2.0 * batter * deepest, length - 2.0 * rule.end_ramp * deepest)
    assert floor == pytest.approx(rule.least_floor_m)
    depth = share * deepest
    below = thin_layers(depth)
    layers = (base - 2.0 * batter * below) * (length - 2.0 * rule.end_ramp * below)
    found = pond_m3(base, batter, length, depth, rule.end_ramp)
    assert float(found) == pytest.approx(layers.mean() * depth, rel=1e-6)


@given(
    width=st.floats(0.3, 5.0),
    batter=st.floats(0.5, 3.0),
    depth=st.floats(0.2, 1.0),
    length=st.floats(7.0, 60.0),
    drop=st.floats(0.0, 0.1),
)
def test_a_basin_is_the_sum_of_its_layers(
    width: float, batter: float, depth: float, length: float, drop: float
) -> None:
    """It is as wide at every height, and its ends slope in from full length at the level."""
    water = depth - drop
    layers = width * (length - 2.0 * batter * (depth - thin_layers(water)))
    found = basin_m3(width, batter, length, depth, water)
    assert float(found) == pytest.approx(layers.mean() * water, rel=1e-6)


def test_a_base_too_narrow_for_a_floor_has_no_pond() -> None:
    trench = trenches_of([Trench(0.3, 0.5, 1.0), Trench(0.2, 0.5, 1.0)])
    deepest = deepest_pond_m(trench, np.array([10.0, 10.0]), point_rules()["pond"])
    assert deepest.tolist() == [0.0, 0.0]


CLOGGING = 0.5


def test_ponds_are_for_clay_and_basins_for_sand() -> None:
    """Seasonal ponds in clay, infiltration basins in sand: common practice, no source.

    Rates by Rawls, Brakensiek & Saxton 1982, Table 2, halved for clogging.
    """
    suited = {
        kind: [
            own.texture
            for own in soils().values()
            if point_rules()[kind].suits(own.group, CLOGGING * own.ksat_mm_h)
        ]
        for kind in POINT_KINDS
    }
    assert suited["pond"] == ["sandy-clay", "silty-clay", "clay"]
    assert suited["basin"] == ["sand", "loamy-sand"]
    assert suited["organic_pit"] == list(soils())


def test_what_soaks_like_sand_takes_a_basin_whatever_its_texture() -> None:
    """Volcanic soil: no word among the USDA textures, loam or clay to the hand."""
    rule = point_rules()["basin"]
    assert rule.suits("loamy", 20.0)
    assert rule.suits("clayey", 60.0)
    assert not rule.suits("loamy", 19.9)


def test_clay_that_soaks_fast_holds_no_pond() -> None:
    assert not point_rules()["pond"].suits("clayey", 5.0)


def test_every_row_of_the_table_names_its_sources() -> None:
    rows = tables.rows("swale_points.csv")
    assert [row["kind"] for row in rows] == list(POINT_KINDS)
    for row in rows:
        assert row["soil_source"]
        assert row["shape_source"]


def test_the_usual_sizes_can_be_dug() -> None:
    assert point_problems(SwalePointKeys(), "run.toml") == []
