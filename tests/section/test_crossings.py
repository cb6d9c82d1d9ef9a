"""Fords, causeways and pipes against profiles walked step by step and losses added up by hand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakline import tables
from soakline.section.crossings import (
    causeway_m,
    ford_m,
    kind_that_fits,
    met_aslant,
    plug_m,
    track_profiles,
)
from soakline.section.pipe import head_loss_m, pipes_for
from soakline.section.track_earth import share_over_trench, track_earth
from soakline.section.trench import Trench, cut_area_m2, trenches_of

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


def trench_floor_m(trench: Trench, x: np.ndarray, ground: np.ndarray) -> np.ndarray:
    """Ground with the trench cut into it, uphill of the lip."""
    m, far = trench.batter, trench.batter * trench.depth_m + trench.base_width_m
    floor = np.maximum(np.maximum(-x / m, (x - far) / m - trench.depth_m), -trench.depth_m)
    return np.where(x > 0.0, np.minimum(floor, ground), ground)


@pytest.mark.parametrize("kind", ["ford", "causeway"])
@pytest.mark.parametrize("fall", [0.0, 0.05, 0.12])
def test_earth_of_a_track_is_that_of_cells_beside_it(kind: str, fall: float) -> None:
    """Slow twin: places 2 cm apart along the track and beside it, sides falling from its edge."""
    trench, crown, wide, batter = Trench(1.5, 0.5, 1.5), 0.3, 4.0, 2.0
    one = trenches_of([trench])
    profile = track_profiles(np.array([kind]), one, np.array([crown]), np.array([fall]))
    earth = track_earth(
        profile,
        one,
        np.array([fall]),
        np.array([wide]),
        batter,
        np.array([trench.batter]),
        np.ones(1),
    )
    step = 0.02
    at = profile.at_m[0]
    x = np.arange(at[0], at[-1], step) + step / 2.0
    beyond = np.maximum(np.abs(np.arange(-6.0, 6.0, step) + step / 2.0) - wide / 2.0, 0.0)
    ground = fall * x
    dug = trench_floor_m(trench, x, ground)[:, None]
    top = np.interp(x, at, profile.height_m[0])[:, None]
    filled = np.maximum(top - beyond / batter - dug, 0.0)
    assert earth.fill_m3[0] == pytest.approx(filled.sum() * step**2, rel=0.01)
    inside = np.clip(np.minimum(top - beyond / batter, ground[:, None]) - dug, 0.0, None)
    assert earth.refill_m3[0] == pytest.approx(inside.sum() * step**2, rel=0.01, abs=1e-6)
    cut = np.maximum(dug - (top + beyond / trench.batter), 0.0)
    assert earth.cut_m3[0] == pytest.approx(cut.sum() * step**2, rel=0.01, abs=1e-4)


@pytest.mark.parametrize("kind", ["ford", "causeway"])
@pytest.mark.parametrize("angle_deg", [75.0, 45.0, 25.0])
def test_earth_of_a_track_aslant_is_that_of_cells_about_the_lip(
    kind: str, angle_deg: float
) -> None:
    """Slow twin on places about a lip that runs east: crown, floor and ramps lie parallel to it,
    the track's edges go over it at an angle, and its sides fall square to them.
    """
    trench, crown, wide, batter, rise = Trench(1.5, 0.5, 1.5), 0.3, 4.0, 2.0, 0.06
    sine = np.array([np.sin(np.radians(angle_deg))])
    along = met_aslant(trenches_of([trench]), sine)
    fall = rise * sine
    profile = track_profiles(np.array([kind]), along, np.array([crown]), fall)
    earth = track_earth(
        profile, along, fall, np.array([wide]), batter, np.array([trench.batter]), np.ones(1)
    )
    step, at = 0.04, profile.at_m[0] * sine[0]
    north = np.arange(at[0], at[-1], step)[:, None] + step / 2.0
    far = np.abs(profile.at_m[0]).max() + 15.0
    east = np.arange(-far, far, step)[None, :] + step / 2.0
    aside = np.abs(north * np.cos(np.radians(angle_deg)) - east * sine[0])
    beyond = np.maximum(aside - wide / 2.0, 0.0)
    dug = trench_floor_m(trench, north, rise * north)
    top = np.interp(north, at, profile.height_m[0])
    filled = np.maximum(top - beyond / batter - dug, 0.0).sum() * step**2
    cut = np.maximum(dug - (top + beyond / trench.batter), 0.0).sum() * step**2
    assert earth.fill_m3[0] == pytest.approx(filled, rel=0.01)
    assert earth.cut_m3[0] == pytest.approx(cut, rel=0.01, abs=1e-3)


@pytest.mark.parametrize("kind", ["ford", "causeway"])
@pytest.mark.parametrize("fall", [0.16, 0.2, 0.25])
def test_ramps_on_a_track_as_steep_as_they_are_come_down_to_its_ground(
    kind: str, fall: float
) -> None:
    """Else 60 m of track would be filled; a wedge of 0.3 m that closes by 2 % is 15 m long."""
    one, own = trenches_of([Trench(0.9, 0.3, 1.0)]), np.array([fall])
    profile = track_profiles(np.array([kind]), one, np.array([0.3]), own)
    at, height = profile.at_m[0], profile.height_m[0]
    assert height[0] == pytest.approx(fall * at[0], abs=1e-9) or at[1] - at[0] == 60.0
    if kind == "causeway":
        earth = track_earth(profile, one, own, *(np.array([v]) for v in (4.0, 2.0, 1.0, 1.0)))
        below = 0.3 * 15.0 / 2.0 * 4.0 + 2.0 * 15.0 * 0.3**2 / 3.0
        assert below < earth.fill_m3[0] - earth.refill_m3[0] < 1.5 * below


@pytest.mark.parametrize("lean", [0.0, 1.2, -2.75])
@pytest.mark.parametrize("start_m", [-3.0, 0.2, 30.0, 93.0, 99.0])
def test_what_a_track_takes_of_a_trench_near_its_end_is_that_of_cells(
    start_m: float, lean: float
) -> None:
    """The trench of 100 m, its ends battered, under the ground between the track's edges."""
    trench, step = Trench(1.5, 0.5, 1.5), 0.02
    up = np.arange(0.0, trench.top_width_m, step)[:, None] + step / 2.0
    east = np.arange(-20.0, 125.0, step)[None, :] + step / 2.0
    under = (east > start_m + lean * up) & (east < start_m + 6.0 + lean * up)
    sides = np.minimum(np.minimum(up, trench.top_width_m - up) / 1.5, 0.5)
    ends = np.maximum(np.minimum(east, 100.0 - east), 0.0) / 1.5
    there = (np.minimum(sides, ends) * under).sum() / (sides * under).sum()
    of = [np.array([v]) for v in (start_m, start_m + 6.0, lean, 100.0)]
    found = share_over_trench(trenches_of([trench]), *of)
    assert found[0] == pytest.approx(there, abs=0.01)


def test_a_track_nearly_along_the_lip_is_reckoned_as_at_19_degrees() -> None:
    trench = trenches_of([Trench(1.5, 0.5, 1.5)])
    flat, least = (met_aslant(trench, np.array([sine])) for sine in (0.05, 1.0 / 3.0))
    assert flat.top_width_m == pytest.approx(3.0 * trench.top_width_m)
    assert flat.top_width_m == pytest.approx(least.top_width_m)


def test_a_wide_ford_cuts_what_lies_between_its_ramps_and_the_ground() -> None:
    """Per metre: the polygon of floor, ramps of 1 in 6 and ground at 8 %, less the trench."""
    trench, fall, wide = Trench(1.5, 0.5, 1.5), 0.08, 1e6
    one = trenches_of([trench])
    profile = track_profiles(np.array(["ford"]), one, np.array([0.25]), np.array([fall]))
    earth = track_earth(
        profile, one, np.array([fall]), np.array([wide]), 2.0, np.array([trench.batter]), np.ones(1)
    )
    near, far, grade = 0.75, 2.25, 1.0 / 6.0
    down, up = (grade * near - 0.5) / (grade + fall), (0.5 + grade * far) / (grade - fall)
    x, y = np.array([down, near, far, up]), np.array([fall * down, -0.5, -0.5, fall * up])
    polygon = abs(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1))) / 2.0
    own = float(cut_area_m2(trench, np.zeros(1), np.array([fall]))[0])
    assert earth.cut_m3[0] / wide == pytest.approx(polygon - own, rel=1e-4)


@given(
    base=st.floats(0.3, 3.0),
    depth=st.floats(0.2, 1.2),
    batter=st.floats(0.5, 3.0),
    crown=st.floats(0.1, 0.6),
)
def test_the_fill_of_a_causeway_takes_its_volume_from_the_trench(
    base: float, depth: float, batter: float, crown: float
) -> None:
    """Summed up layer by layer: as long as its top and two sides, as wide as the trench there."""
    trench = trenches_of([Trench(base, depth, batter)])
    below = (np.arange(2000) + 0.5) / 2000 * depth
    layers = (4.0 + 2.0 * 2.0 * (crown + below)) * (base + 2.0 * batter * (depth - below))
    taken = plug_m(trench, np.array([4.0]), np.array([crown]), 2.0) * trench.area_m2
    assert taken[0] == pytest.approx(layers.mean() * depth, rel=1e-5)
