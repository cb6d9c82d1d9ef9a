"""Toes of mounds on ground that bends away below the lip."""

from dataclasses import replace

import numpy as np
import pytest

from soakline.grid import FloatArray
from soakline.section.cuts import PROFILE_STEP_M
from soakline.section.mound import MoundShapes, toe_m
from soakline.section.stations import LipStations
from soakline.section.toes import down_to_toes
from tests.section.lips import straight

HIGH, CREST = np.array([0.25]), np.array([1.0])


def on(ground: FloatArray) -> LipStations:
    lip = straight(20.0)
    return replace(lip, downhill_m=np.tile(ground, (lip.rise.size, 1)))


def toe(stations: LipStations, berm_m: float) -> FloatArray:
    shape = MoundShapes(np.array([berm_m]), 2.0, 0.5)
    found = down_to_toes(stations, shape, HIGH, CREST)
    each = shape.take(found.at.lip)
    high, crest = found.each(HIGH), found.each(CREST)
    return toe_m(each, high, crest, found.ground_above_m, found.fall)


@pytest.mark.parametrize("berm_m", [0.0, 0.6])
@pytest.mark.parametrize("bend", [-0.01, 0.0, 0.02])
def test_the_outer_face_ends_on_the_peg_s_own_ground(berm_m: float, bend: float) -> None:
    """Ground −0.08 x − c x²: where a face of 1 in 2 from the crest's end meets it (quadratic)."""
    x = PROFILE_STEP_M * np.arange(40.0)
    stations = on(-0.08 * x - bend * x**2)
    found = toe(stations, berm_m)
    mean = (0.08 * found + bend * found**2) / found
    crest_end = berm_m + 2.0 * (0.25 + mean * berm_m) + 1.0
    face = 0.25 - (found - crest_end) / 2.0
    # Straight between heights half a metre apart, the profile cuts up to c / 16 m.
    assert face == pytest.approx(-0.08 * found - bend * found**2, abs=6e-3)


def test_where_no_ground_is_met_or_no_mound_stands_the_mean_fall_stays() -> None:
    stations = on(-5.0 - np.arange(40.0))
    assert down_to_toes(stations, MoundShapes(np.zeros(1), 2.0, 0.5), HIGH, CREST).fall == (
        pytest.approx(0.08)
    )
    level = on(np.zeros(40))
    none = down_to_toes(level, MoundShapes(np.zeros(1), 2.0, 0.5), np.zeros(1), np.zeros(1))
    assert none.fall == pytest.approx(0.08)


def test_ground_that_rises_below_a_lip_counts_as_level() -> None:
    rising = on(0.05 * PROFILE_STEP_M * np.arange(40.0))
    found = down_to_toes(rising, MoundShapes(np.zeros(1), 2.0, 0.5), HIGH, CREST)
    assert (found.fall == 0.0).all()
