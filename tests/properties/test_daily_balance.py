"""Water is neither made nor lost, in any swale on any day, whatever falls."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from soakline.runfile.sections import ClimateKeys
from soakline.water.network import Spill
from soakline.weather.series import Weather
from soakline.years import balance
from soakline.years.arrays import Sum
from soakline.years.balance import SwaleGround, Years, followed
from soakline.years.side_by_side import followed_days, parts_of
from tests.years.swales import ground, stand, weather

DAYS = 30
INTO = (Sum.SHED, Sum.ON_WATER, Sum.LED, Sum.RECEIVED)
OUT_OF = (Sum.SOAKED, Sum.EVAPORATED, Sum.SPILLED)


def close(one: np.ndarray, other: np.ndarray) -> bool:
    return np.allclose(one, other, rtol=0.0, atol=1e-6)


@st.composite
def chains(draw: st.DrawFn) -> SwaleGround:
    """Swales that spill to others further down, all of it or parts."""
    swales = draw(st.integers(1, 7))
    spills = []
    for swale in range(swales - 1):
        below = draw(st.lists(st.integers(swale + 1, swales - 1), max_size=2, unique=True))
        spills += [Spill(swale, own, draw(st.sampled_from([0.2, 0.5]))) for own in below]
    return ground(
        swales,
        tuple(spills),
        draw(st.sampled_from([0.0, 1e-4, 0.003, 0.05])),
        draw(st.sampled_from([0.0, 500.0, 60_000.0])),
    )


def rains(days: int) -> st.SearchStrategy[np.ndarray]:
    return arrays(float, days, elements=st.sampled_from([0.0, 0.0, 0.3, 4.0, 35.0, 180.0]))


def days_of(rain_mm: np.ndarray, seed: int, years: int = 1) -> Weather:
    return weather(rain_mm, np.random.default_rng(seed).uniform(0.0, 9.0, rain_mm.size), years)


@settings(max_examples=60, deadline=None)
@given(chains(), rains(DAYS), st.integers(0, 100))
def test_every_swale_closes_on_every_day(made: SwaleGround, rain_mm: np.ndarray, seed: int) -> None:
    keys, trees = ClimateKeys(), stand(made.base_m2.size)
    days = days_of(rain_mm, seed)
    area = balance.root_area_m2(trees, made.strip_m2)
    shed = balance.shed_mm(days, made.curve_number, made.hard, 1.5) / 1000.0
    parts = parts_of(made.chain, 2)
    surface = balance.surface_at_nodes(made.pools)
    pools = balance._pools(made, surface, np.zeros(made.base_m2.size), 1, keys)
    bands = balance._bands(made, trees, area, 1, keys)
    whole = balance._days(days, shed, made.commonest, 1)
    one_by_one, at_once = (balance._at_start(made, area, keys) for _ in range(2))
    total = 0.0
    for day in range(DAYS):
        own = whole._replace(
            **{name: getattr(whole, name)[day : day + 1] for name in whole._fields}
        )
        held, stored = one_by_one.held_m3.copy(), balance._stored_m3(one_by_one, area)
        sums = followed_days(own, pools, bands, parts, one_by_one, 6.0, 72.0)
        into, out_of = sums[:, INTO].sum(axis=1), sums[:, OUT_OF].sum(axis=1)
        assert close(held + into, out_of + one_by_one.held_m3)
        used = sums[:, (Sum.TREES, Sum.COVER, Sum.DRAINED)].sum(axis=1)
        comes = sums[:, (Sum.SOAKED, Sum.BAND_RAIN)].sum(axis=1)
        now = balance._stored_m3(one_by_one, area)
        assert close(stored[:, 0] + comes, used + now[:, 0])
        without = (Sum.TREES_WITHOUT, Sum.COVER_WITHOUT, Sum.DRAINED_WITHOUT)
        used = sums[:, without].sum(axis=1)
        assert close(stored[:, 1] + sums[:, Sum.BAND_RAIN], used + now[:, 1])
        # What some spill into others is all that these receive.
        passed = sum(
            spill.share * sums[swale, Sum.SPILLED]
            for swale, spills in enumerate(made.chain.spills)
            for spill in spills
        )
        assert close(sums[:, Sum.RECEIVED].sum(), passed)
        assert np.all(sums >= 0.0)
        total = total + sums
    sums = followed_days(whole, pools, bands, parts, at_once, 6.0, 72.0)
    added = [own for own in Sum if own != Sum.LONGEST_WET_H]
    assert close(sums[:, added], total[:, added])
    assert close(at_once.held_m3, one_by_one.held_m3)


def whole_years(made: SwaleGround, rain_mm: np.ndarray, seed: int) -> Years:
    keys = ClimateKeys(full_effect_years=3, silt_kg_m3=30.0)
    return followed(
        made, stand(made.base_m2.size), days_of(rain_mm, seed, years=5), keys, longest_h=72.0
    )


@settings(max_examples=30, deadline=None)
@given(chains(), rains(150), st.integers(0, 100))
def test_years_close_while_roots_deepen_and_silt_comes_and_goes(
    made: SwaleGround, rain_mm: np.ndarray, seed: int
) -> None:
    years = whole_years(made, rain_mm, seed)
    into, out_of = years.sum_of(*INTO), years.sum_of(*OUT_OF)
    assert close(np.diff(years.held_m3, axis=0), into - out_of)
    comes = years.sum_of(Sum.SOAKED, Sum.BAND_RAIN)
    goes = years.sum_of(Sum.TREES, Sum.COVER, Sum.DRAINED)
    assert close(np.diff(years.stored_m3[:, :, 0], axis=0), comes - goes)
    whole = (
        years.held_m3[-1].sum() + years.stored_m3[-1, :, 0].sum() - years.stored_m3[0, :, 0].sum()
    )
    fallen = years.sum_of(Sum.SHED, Sum.ON_WATER, Sum.LED, Sum.RECEIVED, Sum.BAND_RAIN).sum()
    gone = years.sum_of(Sum.EVAPORATED, Sum.SPILLED, Sum.TREES, Sum.COVER, Sum.DRAINED).sum()
    assert close(whole, fallen - gone)


@settings(max_examples=30, deadline=None)
@given(chains(), rains(150), st.integers(0, 100))
def test_swales_take_no_water_from_roots(made: SwaleGround, rain_mm: np.ndarray, seed: int) -> None:
    years = whole_years(made, rain_mm, seed)
    used = years.sum_of(Sum.TREES, Sum.COVER)
    without = years.sum_of(Sum.TREES_WITHOUT, Sum.COVER_WITHOUT)
    assert np.all(used >= without - 1e-9)
    assert np.all(years.sum_of(Sum.STRESS_DAYS) <= years.sum_of(Sum.STRESS_DAYS_WITHOUT) + 1e-9)
