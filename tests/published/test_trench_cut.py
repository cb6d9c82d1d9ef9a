"""The trench in sloping ground: A + T² s / (2 (1 − s m)) and its likes, elementary geometry. D."""

import numpy as np
import pytest
import shapely

from soakline.section.cuts import PROFILE_STEP_M, cuts_of
from soakline.section.trench import Trench, cut_area_m2, daylight_m, trenches_of
from tests.section.lips import uphill_m

TRENCHES = [Trench(1.5, 0.5, 1.5), Trench(2.0, 0.4, 2.0), Trench(0.6, 0.9, 0.5)]


def drawn(trench: Trench, above_m: float, slope: float) -> shapely.Polygon:
    """Section drawn: ground line over trench; the lip at 0, heights over the full-water level."""
    b, d, m = trench.base_width_m, trench.depth_m, trench.batter
    far = 100.0
    dug = shapely.Polygon(
        # Both faces run on upwards at their batter, the lower one straight up from the lip.
        [(0, far), (0, 0), (m * d, -d), (m * d + b, -d), (m * d + b + m * (d + far), far)]
    )
    ground = shapely.Polygon(
        [(-1, above_m - slope), (far, above_m + slope * far), (far, -2 * far), (-1, -2 * far)]
    )
    return shapely.intersection(dug, ground)


@pytest.mark.parametrize("trench", TRENCHES)
@pytest.mark.parametrize("slope", [0.0, 0.02, 0.08, 0.15, 0.25])
def test_cut_on_a_level_lip(trench: Trench, slope: float) -> None:
    width = trench.top_width_m
    expected = trench.area_m2 + width**2 * slope / (2.0 * (1.0 - slope * trench.batter))
    assert cut_area_m2(trench, np.zeros(1), np.array([slope]))[0] == pytest.approx(expected)


@pytest.mark.parametrize("trench", TRENCHES)
@pytest.mark.parametrize("slope", [0.0, 0.08, 0.2])
@pytest.mark.parametrize("above_m", [0.0, 0.015, 0.15])
def test_cut_and_daylight_are_those_of_the_drawn_section(
    trench: Trench, slope: float, above_m: float
) -> None:
    section = drawn(trench, above_m, slope)
    e, s = np.array([above_m]), np.array([slope])
    assert cut_area_m2(trench, e, s)[0] == pytest.approx(section.area, rel=1e-6)
    _, bottom, right, top = section.bounds
    assert daylight_m(trench, e, s)[0] == pytest.approx(right, rel=1e-6)
    cut = cuts_of(trenches_of([trench]), uphill_m(e, s))
    assert cut.area_m2[0] == pytest.approx(section.area, rel=1e-6)
    assert cut.daylight_m[0] == pytest.approx(right, rel=1e-6)
    assert cut.face_height_m[0] == pytest.approx(top - bottom, rel=1e-6)


@pytest.mark.parametrize("trench", TRENCHES)
@pytest.mark.parametrize("seed", range(8))
def test_a_cut_follows_the_uneven_ground_beside_it(trench: Trench, seed: int) -> None:
    """Beside the section drawn by set operations, as far as the batter first meets the ground."""
    random = np.random.default_rng(seed)
    heights = np.cumsum(np.concatenate([[0.0], random.uniform(-0.02, 0.12, 39)]))
    cut = cuts_of(trenches_of([trench]), heights[None])
    at = PROFILE_STEP_M * np.arange(heights.size)
    x, b, d, m = (
        float(cut.daylight_m[0]),
        trench.base_width_m,
        trench.depth_m,
        trench.batter,
    )
    ground = shapely.Polygon([*zip(at, heights, strict=True), (at[-1], -9.0), (0.0, -9.0)])
    top = (x - trench.top_width_m) / m
    dug = shapely.Polygon([(0, 9), (0, 0), (m * d, -d), (m * d + b, -d), (x, top), (x, 9)])
    assert cut.area_m2[0] == pytest.approx(shapely.intersection(dug, ground).area, rel=1e-6)
    assert np.interp(x, at, heights) == pytest.approx(top, abs=1e-9)
    before = np.linspace(trench.top_width_m, x, 200)[:-1]
    assert np.all(np.interp(before, at, heights) > (before - trench.top_width_m) / m)
    assert cut.face_height_m[0] == pytest.approx(d + top)


def test_a_step_that_the_batter_never_meets_is_cut_to_the_end_of_the_profile() -> None:
    """On a bridged step; and ground that dips below the level ends the cut at the water."""
    trench = trenches_of([TRENCHES[0]] * 2)
    steep, dip = np.arange(0.0, 20.0, 1.0), np.full(20, -0.01)
    cut = cuts_of(trench, np.stack([steep, dip]))
    assert cut.daylight_m.tolist() == [9.5, TRENCHES[0].top_width_m]
    assert cut.face_height_m.tolist() == [0.5 + 19.0, 0.5]


@pytest.mark.parametrize("above_m", [-0.6, -2.0])
def test_ground_that_lies_wholly_under_the_base_is_not_cut(above_m: float) -> None:
    """A given lip may be a dam: its missing ground is no cut that is less than nothing."""
    level = np.full((1, 41), above_m)
    assert cuts_of(trenches_of([Trench(1.5, 0.5, 1.5)]), level).area_m2 == 0.0


def test_a_batter_that_hardly_meets_the_hill_is_refused() -> None:
    """M s of 0.6 and over."""
    trench = Trench(1.5, 0.5, 2.0)
    daylight_m(trench, np.zeros(1), np.array([0.299]))
    with pytest.raises(ValueError, match=r"0\.6"):
        daylight_m(trench, np.zeros(1), np.array([0.30]))
    with pytest.raises(ValueError, match=r"0\.6"):
        cut_area_m2(trench, np.zeros(1), np.array([0.35]))


@pytest.mark.parametrize("trench", TRENCHES)
@pytest.mark.parametrize("fill", [0.25, 0.6, 1.0])
def test_water_in_battered_ends_is_the_sum_of_its_slices(trench: Trench, fill: float) -> None:
    b, d, m = trench.base_width_m, trench.depth_m, trench.batter
    length = 60.0
    y = (np.arange(20_000) + 0.5) / 20_000 * fill * d
    slices = (b + 2.0 * m * y) * (length - 2.0 * m * (d - y))
    expected = slices.mean() * fill * d
    assert trench.volume_below_m3(fill * d, length) == pytest.approx(expected, rel=1e-6)
    assert trench.capacity_m3(length) < trench.area_m2 * length
