"""Level-pool routing: Chow, Maidment & Mays 1988 section 8.2; broad-crested weirs in a pool."""

import numpy as np
import pytest

from soakline.grid import FloatArray
from soakline.water import level_pool
from soakline.water.cascade import route_storm
from soakline.water.network import chain_of
from tests.water.level_pools import hydrograph_m3s, pool

FOOT_M = 0.3048
CFS_M3S = FOOT_M**3
BASIN_M2 = 43_560.0 * FOOT_M**2  # an acre
DEPTH_M = np.arange(0.0, 10.1, 0.5) * FOOT_M
OUTFLOW_M3S = CFS_M3S * np.array(
    [0, 3, 8, 17, 30, 43, 60, 78, 97, 117, 137, 156, 173, 190, 205, 218, 231, 242, 253, 264, 275.0]
)
INFLOW_M3S = CFS_M3S * np.array(
    [0, 60, 120, 180, 240, 300, 360, 320, 280, 240, 200, 160, 120, 80, 40, 0, 0, 0, 0, 0, 0.0]
)


def storage_indication(
    storage_m3: FloatArray, outflow_m3s: FloatArray, inflow_m3s: FloatArray, step_s: float
) -> tuple[FloatArray, FloatArray]:
    """Storage and outflow at each time, by looking 2 S/Δt + Q up in a table (section 8.2)."""
    table = 2.0 * storage_m3 / step_s + outflow_m3s
    storage, outflow = np.zeros(inflow_m3s.size), np.zeros(inflow_m3s.size)
    for j in range(inflow_m3s.size - 1):
        kept = 2.0 * storage[j] / step_s - outflow[j]
        indication = inflow_m3s[j] + inflow_m3s[j + 1] + kept
        storage[j + 1] = np.interp(indication, table, storage_m3)
        outflow[j + 1] = np.interp(indication, table, outflow_m3s)
    return storage, outflow


def test_examples_8_2_1_and_8_2_2_by_the_rule_that_pools_are_routed_with() -> None:
    """Peak 270 cfs at 80 min, greatest depth 9.77 ft. M.

    The basin's outlet is a pipe, given as a table; the pools of this program have a weir. The test
    below holds the pool's own step against this rule with a weir in the table.
    """
    storage, outflow = storage_indication(DEPTH_M * BASIN_M2, OUTFLOW_M3S, INFLOW_M3S, 600.0)
    assert outflow.max() / CFS_M3S == pytest.approx(270.0, abs=1.0)
    assert outflow.argmax() * 10 == 80
    assert storage.max() / BASIN_M2 / FOOT_M == pytest.approx(9.77, abs=0.01)


def test_a_pool_over_its_sill_is_routed_by_storage_indication() -> None:
    """The example's inflow into a pool of the same area with a weir of 5 m, at its 10 min. D."""
    weir = 1.45 * 5.0
    head = np.linspace(0.0, 3.0, 300_001)
    storage, outflow = storage_indication(head * BASIN_M2, weir * head**1.5, INFLOW_M3S, 600.0)
    over, spilled = 0.0, []
    means = (INFLOW_M3S[1:] + INFLOW_M3S[:-1]) / 2.0
    for j, mean in enumerate(means):
        out, over, left_s = level_pool.spill(
            over, mean, 600.0, 1, 1.0 / BASIN_M2, 0.5 * weir / BASIN_M2
        )
        spilled.append(out)
        assert left_s == 0.0
        assert over == pytest.approx(storage[j + 1], rel=1e-6, abs=1e-6 * storage.max())
    assert spilled == pytest.approx(300.0 * (outflow[1:] + outflow[:-1]), rel=1e-5)


@pytest.mark.parametrize(
    ("over_sill_m", "flow_m2s"),
    [(0.05, 0.01906), (0.10, 0.05391), (0.15, 0.09905), (0.20, 0.15250), (0.30, 0.28016)],
)
def test_a_steady_flow_stands_at_the_head_of_a_broad_crested_weir(
    over_sill_m: float, flow_m2s: float
) -> None:
    """Q = C L H^1.5 with C 1.705 (Chow 1959, Henderson 1966, Bos 1989), sill of 10 m. D."""
    pools = pool(sill_m=10.0, coefficient=1.705)
    inflow_m3 = np.full((1, 400), 10.0 * flow_m2s * 72.0)
    done = route_storm(pools, chain_of(1, []), np.zeros(0), inflow_m3, 72.0, 400 * 72.0)
    assert done.peak_spill_m3s[0] == pytest.approx(10.0 * flow_m2s, rel=1e-9)
    assert done.max_depth_m[0] - pools.full_depth_m[0] == pytest.approx(over_sill_m, rel=0.001)


def test_head_for_a_flow() -> None:
    """0.10 m³/s over 10 m stands 0.0325 m high, C 1.705. D."""
    pools = pool(sill_m=10.0, coefficient=1.705)
    inflow_m3 = np.full((1, 400), 0.10 * 72.0)
    done = route_storm(pools, chain_of(1, []), np.zeros(0), inflow_m3, 72.0, 400 * 72.0)
    assert done.max_depth_m[0] - pools.full_depth_m[0] == pytest.approx(0.0325, rel=0.005)


def test_a_pool_lowers_and_delays_the_peak_that_passes_it() -> None:
    """Chow 1988 section 8.1: a level pool's outflow peaks where it meets the falling inflow. D."""
    pools = pool(length_m=200.0, soak_m_h=0.0, sill_m=2.0)
    rate = 300.0 * hydrograph_m3s(np.arange(1200) * 12.0, 600.0, 900.0)
    inflow_m3 = rate.reshape(-1, 6).sum(axis=1)[None, :] * 12.0
    done = route_storm(pools, chain_of(1, []), np.zeros(0), inflow_m3, 72.0, 9 * 72.0)
    falling = inflow_m3[0, inflow_m3[0].argmax() :] / 72.0
    assert 0.0 < done.peak_spill_m3s[0] < inflow_m3.max() / 72.0
    assert np.any(falling > done.peak_spill_m3s[0])
