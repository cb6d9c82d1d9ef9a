"""Autosizing: the smallest section that holds the design storm, from the top of the chain down."""

import numpy as np
import pytest

from soakline.grid import FloatArray
from soakline.section.trench import Trench
from soakline.water.cascade import chain_arrays, route_storm
from soakline.water.network import Chain, Spill, chain_of
from soakline.water.pools import Pools, full_to_empty_h, pools_of
from soakline.water.sizing import Sizes, size_down_chain

STEPS = tuple(Trench(base, depth, 1.5) for base, depth in ((0.6, 0.3), (1.2, 0.4), (2.0, 0.5)))
STEP_S = 72.0
LENGTH_M = np.array([100.0, 150.0, 80.0])
CHAIN = chain_of(3, [Spill(0, 1, 1.0), Spill(1, 2, 1.0)])
TRAVEL_S = np.array([100.0, 250.0])


def ponded(own: Trench) -> FloatArray:
    return own.top_width_m * LENGTH_M


def pools(own: Trench, soak_m_h: float = 0.006) -> Pools:
    one = np.ones(3)
    return pools_of(
        own.base_width_m * one, own.depth_m * one, own.batter * one, LENGTH_M, own.depth_m * one,
        ponded(own), soak_m_h * one, 10.0 * one, 1.45,
    )  # fmt: skip


def storm(volume_m3: FloatArray) -> FloatArray:
    """Inflow of whole catchments in a triangle over an hour, m³ in each step."""
    shape = np.bartlett(52)[1:-1]
    return volume_m3[:, None] * shape / shape.sum()


def sized(volume_m3: FloatArray, max_drain_h: float = 1e6, chain: Chain = CHAIN) -> Sizes:
    shed = storm(volume_m3)
    return size_down_chain(
        [pools(own) for own in STEPS],
        chain_arrays(chain, TRAVEL_S[: sum(len(own) for own in chain.spills)], STEP_S),
        shed,
        np.zeros(shed.shape[1]),
        np.full(3, 1e12),
        STEP_S,
        max_drain_h,
    )


def test_each_gets_the_smallest_section_that_holds_its_storm() -> None:
    """Volumes just over what a step holds ask for the next one."""
    held = np.array([float(own.capacity_m3(100.0)) for own in STEPS])
    assert np.all(np.diff(held) > 0)
    for k, own in enumerate(STEPS):
        little = np.array([0.9 * held[k], 1.0, 1.0])
        assert sized(little).choice[0] == k, own
    assert sized(np.array([1.2 * held[1], 1.0, 1.0])).choice[0] == 2


def test_where_none_holds_the_largest_is_taken_and_said() -> None:
    found = sized(np.array([1_000.0, 1.0, 1.0]))
    assert found.choice[0] == 2
    assert found.holds.tolist() == [False, False, False]


def test_what_spills_above_is_held_below() -> None:
    """The second swale is sized for its own water and the first one's spill."""
    alone = sized(np.array([5.0, 60.0, 5.0]))
    above = float(STEPS[2].capacity_m3(100.0)) + 60.0
    fed = sized(np.array([above, 60.0, 5.0]))
    assert fed.choice[1] > alone.choice[1]


def test_a_choice_holds_when_the_chain_is_routed_and_the_next_smaller_does_not() -> None:
    volume = np.array([35.0, 75.0, 45.0])
    found = sized(volume)
    assert found.holds.all()

    def spilled(choice: list[int]) -> FloatArray:
        own = [STEPS[k] for k in choice]
        routed = route_storm(
            pools_of(
                np.array([t.base_width_m for t in own]), np.array([t.depth_m for t in own]),
                np.full(3, 1.5), LENGTH_M, np.array([t.depth_m for t in own]),
                np.array([ponded(t)[i] for i, t in enumerate(own)]), np.full(3, 0.006),
                np.full(3, 10.0), 1.45,
            ),
            CHAIN, TRAVEL_S, storm(volume), STEP_S, 50 * STEP_S,
        )  # fmt: skip
        return routed.overflow_m3

    assert spilled(found.choice.tolist()) == pytest.approx(0.0, abs=1e-6)
    for i, k in enumerate(found.choice):
        smaller = found.choice.tolist()
        if k > 0:
            smaller[i] = int(k) - 1
            assert spilled(smaller)[i] > 1e-6


def test_of_those_that_hold_it_the_first_to_empty_is_taken_if_the_smallest_is_too_slow() -> None:
    """A wide shallow base empties before a narrow deep one that holds less."""
    steps = (Trench(0.6, 0.5, 1.5), Trench(2.0, 0.3, 1.5))
    assert steps[0].area_m2 < steps[1].area_m2
    choices = [pools(own) for own in steps]
    hours = [float(full_to_empty_h(own)[0]) for own in choices]
    assert hours[1] < hours[0]
    shed = storm(np.array([20.0, 1.0, 1.0]))
    alone = chain_of(3, [])

    def choose(limit_h: float) -> int:
        flat = chain_arrays(alone, np.zeros(0), STEP_S)
        area, no_rain = np.full(3, 1e12), np.zeros(50)
        found = size_down_chain(choices, flat, shed, no_rain, area, STEP_S, limit_h)
        return int(found.choice[0])

    assert choose(hours[0] + 1.0) == 0
    assert choose(hours[0] - 1.0) == 1


def test_each_swale_has_steps_of_its_own() -> None:
    """The first wide and shallow, the second narrow and deep; sized at once they get what each
    would get alone, and a step that stands in twice changes nothing.
    """
    sandy = (Trench(1.2, 0.3, 2.0), Trench(2.4, 0.3, 2.0), Trench(2.4, 0.4, 2.0))
    clayey = (Trench(0.6, 0.4, 1.0), Trench(1.5, 0.6, 1.0), Trench(1.5, 0.6, 1.0))
    alone = chain_arrays(chain_of(3, []), np.zeros(0), STEP_S)
    one = np.ones(3)

    def sized_with(steps: list[tuple[Trench, Trench, Trench]], volume_m3: FloatArray) -> Sizes:
        choices = []
        for step in steps:
            base, depth, batter = np.array(
                [(own.base_width_m, own.depth_m, own.batter) for own in step]
            ).T
            width = np.array([own.top_width_m for own in step])
            choices.append(
                pools_of(base, depth, batter, LENGTH_M, depth, width * LENGTH_M, 0.006 * one,
                         10.0 * one, 1.45)
            )  # fmt: skip
        shed = storm(volume_m3)
        no_rain, area = np.zeros(shed.shape[1]), np.full(3, 1e12)
        return size_down_chain(choices, alone, shed, no_rain, area, STEP_S, 1e6)

    for volume in (25.0, 45.0, 70.0, 95.0, 130.0):
        each = np.full(3, volume)
        mixed = sized_with([(s, c, s) for s, c in zip(sandy, clayey, strict=True)], each)
        all_sand = sized_with([(s, s, s) for s in sandy], each)
        all_clay = sized_with([(c, c, c) for c in clayey], each)
        assert mixed.choice[[0, 2]].tolist() == all_sand.choice[[0, 2]].tolist()
        assert mixed.choice[1] == all_clay.choice[1]
        assert mixed.holds.tolist() == [
            all_sand.holds[0], all_clay.holds[1], all_sand.holds[2]
        ]  # fmt: skip
        # Once where it holds, the first of two that are alike is taken.
        assert all_clay.choice[all_clay.holds].max(initial=0) <= 1
