"""Levels and freeboard of every storm, and which storm governs."""

import numpy as np
import pytest

from soakline.inputs.types import RainTable
from soakline.water.cascade import route_storms
from soakline.water.curve_number import runoff_mm
from soakline.water.event import Event, arrivals_of, event_of, feeds_of, peak_bound_m3s
from soakline.water.land import GroundClass, Land
from soakline.water.losses import curve_number_loss
from soakline.water.network import Spill, chain_of
from soakline.water.pools import pools_of
from soakline.water.results import SwaleResults, results_of
from soakline.water.storms import storms_for

RAIN = RainTable(
    np.array([5.0, 30.0, 120.0, 720.0]),
    ("10", "100"),
    np.array([[10.0, 16.0], [27.0, 44.0], [50.0, 83.0], [90.0, 150.0]]),
)
STORMS = storms_for(RAIN, 0, 1, "both")
LAND = Land((GroundClass("pasture", 74.0, "loam"),))
LEVEL_M, CREST_M, SILL_M, LENGTH_M = 400.0, 400.25, 20.0, 100.0


def event() -> Event:
    return event_of(STORMS, LAND, [curve_number_loss(74.0, "II")], "curvilinear")


def results(catchment_m2: float) -> SwaleResults:
    one = np.ones(1)
    feeds = feeds_of(catchment_m2 * one[:, None], 300.0 * one, LAND)
    pools = pools_of(
        1.5 * one, 0.5 * one, 1.5 * one, LENGTH_M * one, 0.5 * one, 300.0 * one, 0.006 * one,
        SILL_M * one, 1.45,
    )  # fmt: skip
    arrivals = arrivals_of(event(), 0.1 * one)
    routing = route_storms(
        pools, chain_of(1, []), np.zeros(0),
        lambda k: arrivals.inflow_m3(k, feeds), arrivals.step_s,
        [arrivals.rain_s(k) for k in range(len(STORMS))],
    )  # fmt: skip
    return results_of(event(), feeds.dry_m2, routing, (LEVEL_M - 0.5) * one, CREST_M * one)


def test_a_held_storm_stands_below_the_level_and_spills_nothing() -> None:
    found = results(800.0)
    design = event().of("design")
    assert found.routing.peak_spill_m3s[0, design].max() == 0.0
    assert found.max_level_m[0, design].max() <= LEVEL_M
    assert found.freeboard_m[0, design] == pytest.approx(CREST_M - found.max_level_m[0, design])


def test_a_spilling_storm_stands_over_the_sill_by_the_weir_s_head() -> None:
    found = results(30_000.0)
    spills = found.routing.peak_spill_m3s[0] > 0.0
    assert spills.any()
    head = found.max_level_m[0, spills] - LEVEL_M
    assert 1.45 * SILL_M * head**1.5 == pytest.approx(found.routing.peak_spill_m3s[0, spills])


def test_runoff_is_the_depth_shed_times_the_dry_ground() -> None:
    found = results(30_000.0)
    assert found.runoff_m3[0] == pytest.approx(event().excess_mm[0] / 1000.0 * (30_000.0 - 300.0))


def test_the_governing_storm_spills_most_then_stands_highest_and_is_shortest() -> None:
    spilling = results(30_000.0)
    own = event().of("design")
    governing = int(spilling.governing[0])
    assert governing in own
    assert STORMS[governing].duration_min == 720.0
    overflow = spilling.routing.overflow_m3[0]
    assert overflow[governing] == overflow[own].max()
    held = results(800.0)
    assert held.max_level_m[0, held.governing[0]] == held.max_level_m[0, own].max()


def test_routed_peaks_down_a_chain_stay_under_their_bound() -> None:
    """Three swales, each spilling to the next: no peak is over the fastest rise on all above it."""
    random = np.random.default_rng(3)
    area = random.uniform(2_000.0, 40_000.0, (3, 1))
    ponded = random.uniform(100.0, 400.0, 3)
    feeds = feeds_of(area, ponded, LAND)
    pools = pools_of(
        np.full(3, 1.5), np.full(3, 0.4), np.full(3, 1.5), ponded / 2.7, np.full(3, 0.4), ponded,
        np.full(3, 0.002), random.uniform(1.0, 30.0, 3), 1.45,
    )  # fmt: skip
    chain = chain_of(3, [Spill(0, 1, 1.0), Spill(1, 2, 1.0)])
    arrivals = arrivals_of(event(), np.array([0.1, 0.15, 0.3]))
    routing = route_storms(
        pools, chain, np.array([95.0, 210.0]),
        lambda k: arrivals.inflow_m3(k, feeds), arrivals.step_s,
        [arrivals.rain_s(k) for k in range(len(STORMS))],
    )  # fmt: skip
    bound = peak_bound_m3s(event(), feeds, chain)
    assert routing.peak_spill_m3s.max() > 0.1
    assert np.all(routing.peak_spill_m3s <= bound * (1.0 + 1e-9))


def test_rates_are_those_of_the_72_s_that_bring_most() -> None:
    """Of steady rain the last 72 s: 50 mm in 2 h on CN 74."""
    steady = next(
        k
        for k, s in enumerate(STORMS)
        if s.purpose == "design" and s.storm_id.endswith("120min-uniform")
    )
    last_mm = runoff_mm(50.0, 74.0) - runoff_mm(50.0 * (1.0 - 72.0 / 7200.0), 74.0)
    assert event().rise_m_s[0, steady] == pytest.approx(float(last_mm) / 1000.0 / 72.0)
    assert event().rain_rise_m_s[steady] == pytest.approx(0.050 / 7200.0)
