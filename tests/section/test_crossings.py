"""Fords, causeways and pipes against profiles walked step by step and losses added up by hand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakline import tables
from soakline.section.crossings import causeway_m, ford_m, kind_that_fits
from soakline.section.pipe import head_loss_m, pipes_for
from soakline.section.trench import Trench, trenches_of

STEP_M = 0.001


def along(fall: float, length_m: float) -> tuple[np.ndarray, np.ndarray]:
    """Places along the track, uphill positive, and the ground there over the level."""
    x = np.arange(-length_m, length_m, STEP_M)
    return x, fall * x


@given(
    base=st.floats(0.4, 3.0),
    depth=st.floats(0.2, 0.6),
    batter=st.floats(0.5, 3.0),
    crown=st.floats(0.05, 0.5),
    fall=st.floats(0.0, 0.12),
)
def test_a_ford_s_profile_leaves_the_ground_where_its_length_says(
    base: float, depth: float, batter: float, crown: float, fall: float
) -> None:
    x, ground = along(fall, 100.0)
    grade = 1.0 / 6.0
    floor_end = batter * depth + base
    rising = -depth + grade * (x - floor_end)
    up = x[(x > floor_end) & (rising >= ground)][0]
    top = batter * depth - (depth + crown) / grade
    falling = crown - grade * (top - x)
    down = x[(x < top) & (falling >= ground)][0]
    found = ford_m(trenches_of([Trench(base, depth, batter)]), np.array([crown]), np.array([fall]))
    assert found[0] == pytest.approx(up - down, abs=4 * STEP_M)


@given(depth=st.floats(0.2, 1.0), crown=st.floats(0.05, 0.5), fall=st.floats(0.0, 0.12))
def test_a_causeway_s_profile_leaves_the_ground_where_its_length_says(
    depth: float, crown: float, fall: float
) -> None:
    trench = Trench(1.5, depth, 1.5)
    x, ground = along(fall, 60.0)
    grade, top = 1.0 / 6.0, trench.top_width_m
    over = np.where(x > top, crown - grade * (x - top), np.where(x < 0.0, crown + grade * x, crown))
    raised = x[over > ground]
    # Ground that rises to the crown before the trench ends is cut level, not filled.
    length = max(raised[-1], top) - raised[0]
    found = causeway_m(trenches_of([trench]), np.array([crown]), np.array([fall]))
    assert found[0] == pytest.approx(length, abs=4 * STEP_M)


@pytest.mark.parametrize(
    ("depth_m", "fall", "kind"),
    [
        (0.5, 0.08, "ford"),
        (0.6, 0.08, "causeway"),  # deeper than a vehicle passes
        (0.5, 0.12, "causeway"),  # the ramps run on along the hill
        (0.3, 0.20, "causeway"),  # steeper than the ramps
        (0.3, 0.0, "ford"),
    ],
)
def test_a_ford_is_for_shallow_swales_on_gentle_tracks(
    depth_m: float, fall: float, kind: str
) -> None:
    trench = trenches_of([Trench(1.5, depth_m, 1.5)])
    assert kind_that_fits(trench, np.array([0.25]), np.array([fall])).tolist() == [kind]


@given(
    flow=st.floats(0.001, 2.0), diameter=st.sampled_from([0.3, 0.6, 1.2]), length=st.floats(3, 30)
)
def test_head_of_a_full_pipe_is_that_of_hds_5(flow: float, diameter: float, length: float) -> None:
    """FHWA HDS-5 (2012), full flow in SI: (1 + ke + 19.63 n² L / R^1.33) V² / 2 g; from memory.

    Its exponent and constant are rounded: within a hundredth.
    """
    velocity = flow / (np.pi / 4.0 * diameter**2)
    radius = diameter / 4.0
    lost = (1.0 + 0.9 + 19.63 * 0.024**2 * length / radius**1.33) * velocity**2 / (2.0 * 9.81)
    assert head_loss_m(flow, diameter, length) == pytest.approx(lost, rel=0.01)


@given(flow=st.floats(0.0, 1.0), length=st.floats(3, 20), depth=st.floats(0.2, 1.5))
def test_pipes_keep_both_sides_level_to_5_cm_and_are_no_more_than_it_takes(
    flow: float, length: float, depth: float
) -> None:
    number, diameter = pipes_for(flow, length, depth)
    sizes = sorted(float(row["diameter_m"]) for row in tables.rows("pipe_diameters.csv"))
    assert diameter in sizes
    assert diameter <= max(depth, sizes[0])
    assert head_loss_m(flow / number, diameter, length) <= 0.05 * (1.0 + 1e-9)
    smaller = sizes[max(sizes.index(diameter) - 1, 0)]
    if number > 1:
        assert head_loss_m(flow / (number - 1), diameter, length) > 0.05 * (1.0 - 1e-9)
    elif smaller < diameter:
        assert head_loss_m(flow, smaller, length) > 0.05 * (1.0 - 1e-9)
