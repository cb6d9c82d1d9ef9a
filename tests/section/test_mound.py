"""The mound's section as drawn, and the crest that spoil makes."""

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from soakline.grid import FloatArray
from soakline.section.mound import MoundShape, crest_width_for_m, section_area_m2, toe_m
from soakline.section.reach import footprint_reach, spoil_factor
from soakline.section.trench import Trench, cut_area_m2, daylight_m

shapes = st.builds(
    MoundShape, st.sampled_from([0.0, 0.6]), st.floats(1.2, 2.5), st.floats(0.3, 1.0)
)
slopes = st.floats(0.0, 0.3)
heights = st.floats(0.1, 0.8)
grounds = st.floats(0.0, 0.05)
widths = st.floats(0.3, 6.0)


def one(value: float) -> FloatArray:
    return np.array([value])


def drawn(
    shape: MoundShape, height_m: float, width_m: float, above_m: float, slope: float
) -> shapely.Polygon:
    """Section over its ground: faces from the crest's ends down to wherever the ground is."""
    far = 60.0
    start = shape.berm_m
    crest = start + shape.batter * (height_m - (above_m - slope * start))
    body = shapely.Polygon(
        [
            (crest - shape.batter * far, height_m - far),
            (crest, height_m),
            (crest + width_m, height_m),
            (crest + width_m + shape.batter * far, height_m - far),
        ]
    )
    ground = shapely.Polygon(
        [(-far, above_m + slope * far), (far, above_m - slope * far), (far, 99), (-far, 99)]
    )
    return shapely.intersection(body, ground)


@given(shapes, heights, widths, grounds, slopes)
def test_area_and_toe_are_those_of_the_drawn_section(
    shape: MoundShape, height_m: float, width_m: float, above_m: float, slope: float
) -> None:
    section = drawn(shape, height_m, width_m, above_m, slope)
    arguments = (shape, one(height_m), one(width_m), one(above_m), one(slope))
    assert section_area_m2(*arguments)[0] == pytest.approx(section.area, rel=1e-6)
    assert toe_m(*arguments)[0] == pytest.approx(section.bounds[2], rel=1e-6)
    assert section.bounds[0] == pytest.approx(shape.berm_m, abs=1e-6)


@given(shapes, heights, widths, grounds, slopes)
def test_the_crest_is_as_wide_as_the_spoil_makes_it(
    shape: MoundShape, height_m: float, width_m: float, above_m: float, slope: float
) -> None:
    """Section area solved for the crest: what is beyond the least section widens, never raises."""
    spoil = section_area_m2(shape, one(height_m), one(width_m), one(above_m), one(slope))
    found = crest_width_for_m(shape, one(height_m), spoil, one(above_m), one(slope))[0]
    assert found == pytest.approx(max(width_m, shape.least_crest_m), rel=1e-6)


def test_short_spoil_leaves_the_least_crest() -> None:
    shape = MoundShape(0.0, 2.0, 0.5)
    found = crest_width_for_m(shape, one(0.4), one(0.01), one(0.0), one(0.08))
    assert found.tolist() == [0.5]


def test_beside_a_face_over_1_2_m_room_is_kept_for_a_mound_0_6_m_off() -> None:
    """Method 4, 2 ft: 29 CFR 1926.651(j)(2).

    The face is d + e + s x with x = (T + m e) / (1 − s m), e the ground's height over the level.
    """
    trench, shape = Trench(1.5, 0.5, 1.5), MoundShape(0.0, 2.0, 0.5)
    rules = (0.25, 1.125, 0.015, 0.8)
    reach, layered = (footprint_reach(trench, shape, *rules, layer) for layer in (0.0, 0.1))
    near, off = (
        footprint_reach(trench, MoundShape(berm_m, 2.0, 0.5), *rules, -1.0) for berm_m in (0.0, 0.6)
    )
    # A face of 1.2 m: on 16.9 %, over a layer of 0.1 m on 15 %.
    for slope_pct, own, kept in (
        (15.0, reach, near), (16.0, reach, near), (17.5, reach, off), (25.0, reach, off),
        (14.0, layered, near), (16.0, layered, off),
    ):  # fmt: skip
        at = np.array([slope_pct])
        assert own.at(at)[1][0] == kept.at(at)[1][0]
        # The same spoil on lower ground: the toe moves by less than the berm.
        assert 0.2 < off.at(at)[1][0] - near.at(at)[1][0] < 0.6


def test_a_wider_berm_of_the_run_file_is_kept_everywhere() -> None:
    kept = MoundShape(0.8, 2.0, 0.5).off_faces(np.array([1.0, 1.3]))
    assert kept.berm_m.tolist() == [0.8, 0.8]


def test_room_kept_for_the_works_is_that_of_the_section_at_each_slope() -> None:
    trench, shape = Trench(1.5, 0.5, 1.5), MoundShape(0.0, 2.0, 0.5)
    spoil = spoil_factor(25.0, 10.0)
    reach = footprint_reach(trench, shape, 0.25, spoil, 0.015, 1.0, 0.0)
    for slope in (0.02, 0.08, 0.15):
        uphill, downhill = reach.at(np.array([100.0 * slope]))
        assert uphill[0] == pytest.approx(daylight_m(trench, one(0.015), one(slope))[0], rel=1e-3)
        area = cut_area_m2(trench, one(0.015), one(slope)) * spoil
        width = crest_width_for_m(shape, one(0.25), area, one(0.015), one(slope))
        toe = toe_m(shape, one(0.25), width, one(0.015), one(slope))[0]
        assert downhill[0] == pytest.approx(toe, rel=2e-3)
