"""Levels, freeboard and drain-down of a storm, and which storm governs."""

import numpy as np
import pytest

from soakline.inputs.types import RainTable
from soakline.section.trench import Trench
from soakline.water.balance import SwaleWater, balance_storms
from soakline.water.network import chain_of
from soakline.water.results import SwaleResults, depth_holding_m, storm_results
from soakline.water.storms import storms_for

RAIN = RainTable(
    np.array([5.0, 30.0, 120.0, 720.0]),
    ("10", "100"),
    np.array([[10.0, 16.0], [27.0, 44.0], [50.0, 83.0], [90.0, 150.0]]),
)
STORMS = storms_for(RAIN, 0, 1, "both")
TRENCH = Trench(1.5, 0.5, 1.5)
LENGTH_M = 100.0


def results(dry_m2: float, sill_m: float = 20.0) -> tuple[SwaleResults, SwaleWater]:
    water = SwaleWater(
        np.array([dry_m2]),
        np.array([300.0]),
        np.array([float(TRENCH.capacity_m3(LENGTH_M))]),
        np.array([0.6]),
    )
    balance = balance_storms(STORMS, water, chain_of(1, []), 74.0)
    level, crest = np.array([400.0]), np.array([400.25])
    found = storm_results(
        STORMS, balance, TRENCH, np.array([LENGTH_M]), level, level,
        np.array([sill_m]), crest, water.soak_m3_h, 1.45,
    )  # fmt: skip
    return found, water


@pytest.mark.parametrize("fill", [0.0, 0.2, 0.7, 1.0])
def test_depth_that_holds_a_volume_is_the_volume_s_inverse(fill: float) -> None:
    volume = TRENCH.volume_below_m3(fill * 0.5, LENGTH_M)
    found = depth_holding_m(TRENCH, LENGTH_M, np.array([volume]))
    assert found[0] == pytest.approx(fill * 0.5, abs=1e-4)


def test_a_held_storm_stands_below_the_level_and_spills_nothing() -> None:
    found, _ = results(500.0)
    design = [i for i, s in enumerate(STORMS) if s.purpose == "design"]
    assert found.peak_spill_m3s[0, design].max() == 0.0
    assert found.max_level_m[0, design].max() <= 400.0
    assert found.freeboard_m[0, design] == pytest.approx(400.25 - found.max_level_m[0, design])


def test_a_spilling_storm_stands_over_the_sill_by_the_weir_s_head() -> None:
    found, _ = results(30_000.0)
    spills = found.peak_spill_m3s[0] > 0.0
    assert spills.any()
    head = found.max_level_m[0, spills] - 400.0
    assert 1.45 * 20.0 * head**1.5 == pytest.approx(found.peak_spill_m3s[0, spills])


def test_drain_down_starts_with_what_is_stored() -> None:
    found, water = results(30_000.0)
    full = found.peak_spill_m3s[0] > 0.0
    assert found.drain_down_h[0, full] == pytest.approx(float(water.capacity_m3[0]) / 0.6)


def test_the_governing_storm_spills_most_then_stands_highest_and_is_shortest() -> None:
    """Where nothing spills the fullest governs; patterns alike in all, the first listed."""
    spilling, _ = results(30_000.0)
    governing = STORMS[int(spilling.governing[0])]
    assert governing.purpose == "design"
    assert governing.duration_min == 720.0
    held, _ = results(500.0)
    own = [i for i, s in enumerate(STORMS) if s.purpose == "design"]
    assert held.max_level_m[0, held.governing[0]] == held.max_level_m[0, own].max()
