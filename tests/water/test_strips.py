"""The widest strip that a swale holds, against closed form and against routing."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from soakline.grid import FloatArray
from soakline.inputs.types import RainTable
from soakline.water.cascade import StormRouting, route_storms
from soakline.water.event import Event, Feeds, arrivals_of, event_of
from soakline.water.land import GroundClass, Land
from soakline.water.losses import HARD_SURFACE, curve_number_loss
from soakline.water.network import chain_of
from soakline.water.pools import Pools
from soakline.water.storms import storms_for
from soakline.water.strips import widest_spacing_m
from soakline.water.time_of_concentration import LEAST_H
from tests.water.level_pools import STEP_S, pool

LAND = Land(
    (GroundClass("pasture", 74.0, "loam"), GroundClass("roofs and paving", 98.0, "loam", hard=True))
)
PASTURE, MIXED = np.array([[1.0, 0.0]]), np.array([[0.7, 0.3]])
LENGTH_M = np.array([100.0])


def event(factor: float = 1.0) -> Event:
    rain = RainTable(
        np.array([15.0, 60.0, 360.0, 1440.0]),
        ("10", "100"),
        factor * np.array([[18.0, 27.0], [30.0, 48.0], [55.0, 90.0], [90.0, 150.0]]),
    )
    losses = [curve_number_loss(74.0, "II"), HARD_SURFACE]
    return event_of(storms_for(rain, 0, 1, "both"), LAND, losses, "curvilinear")


EVENT = event()


def spacing_m(pools: Pools, ground: FloatArray = PASTURE, own: Event = EVENT) -> float:
    return float(widest_spacing_m(pools, LENGTH_M, ground, own, own.of("design"), STEP_S)[0])


def laid(pools: Pools, ground: FloatArray, spacing: float) -> StormRouting:
    """The strip as a catchment that drains to one swale, in every design storm."""
    dry = ground * (spacing * LENGTH_M[0] - pools.ponded_m2[0])
    feeds = Feeds(dry, pools.ponded_m2, dry)
    arrivals, design = arrivals_of(EVENT, np.array([LEAST_H])), EVENT.of("design")
    return route_storms(
        pools,
        chain_of(1, []),
        np.zeros(0),
        lambda k: arrivals.inflow_m3(design[k], feeds),
        arrivals.step_s,
        [arrivals.rain_s(storm) for storm in design],
    )


@pytest.mark.parametrize("ground", [PASTURE, MIXED])
def test_without_soaking_runoff_and_rain_on_the_water_just_fill_it(ground: FloatArray) -> None:
    """Runoff × (L × length − water) + rain × water = capacity in the storm that brings most."""
    pools = pool()
    design = EVENT.of("design")
    runoff_m = (ground @ EVENT.excess_mm[:, design])[0] / 1000.0
    rain_m = np.array([EVENT.storms[i].depth_mm for i in design]) / 1000.0
    dry_m2 = ((pools.full_m3 - rain_m * pools.ponded_m2) / runoff_m).min()
    expected = (dry_m2 + pools.ponded_m2[0]) / LENGTH_M[0]
    assert spacing_m(pools, ground) == pytest.approx(expected, rel=3e-5)


@pytest.mark.parametrize("ground", [PASTURE, MIXED])
@pytest.mark.parametrize("soak_m_h", [0.0, 0.0065, 0.05, 0.2])
def test_laid_as_a_swale_it_holds_every_design_storm_and_spills_at_1_percent_more(
    ground: FloatArray, soak_m_h: float
) -> None:
    pools = pool(soak_m_h=soak_m_h)
    spacing = spacing_m(pools, ground)
    assert laid(pools, ground, spacing).overflow_m3.max() == 0.0
    assert laid(pools, ground, 1.01 * spacing).overflow_m3.max() > 0.0


def test_the_mix_of_the_ground_counts_and_not_its_area() -> None:
    pools = pool(soak_m_h=0.0065)
    assert spacing_m(pools, 1e4 * MIXED) == pytest.approx(spacing_m(pools, MIXED), rel=3e-5)
    assert spacing_m(pools, MIXED) < spacing_m(pools, PASTURE)


def test_ground_that_sheds_nothing_sets_no_spacing() -> None:
    assert spacing_m(pool(), own=event(0.05)) == np.inf
    assert spacing_m(pool(), ground=np.zeros((1, 2))) == np.inf


def test_a_swale_that_rain_alone_overfills_stands_beside_the_next() -> None:
    """60 times 90 mm are over 5 m on the water, which is half a metre deep."""
    pools = pool()
    assert spacing_m(pools, own=event(60.0)) == pools.ponded_m2[0] / LENGTH_M[0]


@settings(max_examples=40)
@given(
    st.floats(0.5, 3.0), st.floats(0.3, 0.8), st.floats(0.0, 0.2), st.floats(1.0, 2.0),
    st.floats(1.0, 2.0),
)  # fmt: skip
def test_more_rain_narrows_it_and_a_larger_section_or_freer_soil_widens_it(
    base_m: float, depth_m: float, soak_m_h: float, rain: float, more: float
) -> None:
    own = spacing_m(pool(base_m, depth_m, soak_m_h=soak_m_h))
    spare = 1.0 + 3e-5
    assert spacing_m(pool(base_m, depth_m, soak_m_h=soak_m_h), own=event(rain)) <= own * spare
    assert spacing_m(pool(base_m, depth_m, soak_m_h=soak_m_h * more)) * spare >= own
    assert spacing_m(pool(base_m, depth_m * more, soak_m_h=soak_m_h)) * spare >= own


def test_each_of_many_strips_is_found_as_if_it_were_alone() -> None:
    small, large = pool(soak_m_h=0.01), pool(2.0, soak_m_h=0.01)
    both = Pools(
        type(small.trough)(
            *(
                np.concatenate([getattr(p.trough, f) for p in (small, large)])
                for f in ("base_width_m", "base_length_m", "batter")
            )
        ),
        *(
            np.concatenate([getattr(p, f) for p in (small, large)])
            for f in ("full_depth_m", "full_m3", "ponded_m2", "soak_m_s", "sill_m")
        ),
        small.coefficient,
        np.concatenate([small.wetted_m2, large.wetted_m2]),
    )
    found = widest_spacing_m(
        both, np.repeat(LENGTH_M, 2), np.vstack([MIXED, PASTURE]), EVENT, EVENT.of("design"), STEP_S
    )
    assert found.tolist() == [spacing_m(small, MIXED), spacing_m(large, PASTURE)]
