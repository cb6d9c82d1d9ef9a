"""The mound's returns round the ends of trenches: how far, how high, how much."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from soakline.section.mound import MoundShape, section_area_m2
from soakline.section.returns import EndReturns, end_returns, top_m


def one_end(
    shape: MoundShape, crest: float, width: float, head: float, above: float, slope: float
) -> EndReturns:
    values = (np.array([v]) for v in (crest, width, head, above, slope, slope))
    return end_returns(shape, *values)


ends = st.builds(
    one_end,
    st.builds(MoundShape, st.sampled_from([0.0, 0.6]), st.floats(1.5, 3.0), st.floats(0.3, 1.0)),
    st.floats(0.2, 0.5),
    st.floats(0.5, 3.0),
    st.floats(0.05, 0.15),
    st.floats(-0.03, 0.04),
    st.floats(0.02, 0.14),
)
SHAPE = MoundShape(0.0, 2.0, 0.5)


@given(ends)
def test_the_crest_never_lies_under_the_head_until_natural_ground_does_not(end: EndReturns) -> None:
    """Method: uphill until natural ground reaches the level and the head, at most 6 m."""
    reach = float(end.uphill_m[0])
    assert 0.0 <= reach <= 6.0
    shape = MoundShape(0.0, 2.0, 0.5)
    row = end.rows(shape)[0]
    ahead = float(end.face_m[0] + (end.width_m[0] - 2.0 * end.face_m[0]) / 2.0)
    before = np.inf
    for share in np.linspace(0.0, 0.95, 20):
        # The crest's middle moves in as the return tapers.
        over = top_m(row, ahead * (1.0 - share), share * reach, 0.0)
        assert over <= before + 1e-9
        before = over
    assert top_m(row, ahead, reach + 0.01, 0.0) < -1.0
    assert top_m(row, float(end.width_m[0]) + 0.01, 0.0, 0.0) < -1.0


def test_on_8_percent_it_runs_uphill_for_the_head_and_stays_over_it() -> None:
    """0.10 m of head over 0.08: 1.25 m; crest 0.25 m, falling evenly to 0.10 m."""
    end = one_end(SHAPE, 0.25, 1.2, 0.10, 0.0, 0.08)
    assert end.uphill_m[0] == pytest.approx(1.25)
    assert end.width_m[0] == pytest.approx(2 * 2.0 * 0.25 + 0.5)
    row = end.rows(SHAPE)[0]
    for share in (0.0, 0.3, 0.6, 0.9):
        uphill = 1.25 * share
        top = top_m(row, 0.75 * (1.0 - share), uphill, 0.08 * uphill)
        assert top == pytest.approx(0.25 - 0.15 * share)


@settings(max_examples=20)
@given(ends)
def test_volume_is_that_of_cells(end: EndReturns) -> None:
    shape = MoundShape(float(end.rows(SHAPE)[0][7]), 2.0, 0.5)
    row, cell = end.rows(shape)[0], 0.02
    above, fall = float(end.above_m[0]), float(end.fall[0])
    width, toe, reach = (float(v[0]) for v in (end.width_m, end.toe_m, end.uphill_m))
    total = 0.0
    for ahead in np.arange(cell / 2.0, width, cell):
        for uphill in np.arange(-toe + cell / 2.0, reach, cell):
            ground = above + fall * uphill
            total += max(0.0, top_m(row, ahead, uphill, ground) - ground) * cell**2
    assert end.volume_m3(shape)[0] == pytest.approx(total, rel=0.03, abs=0.003)


def test_the_corner_is_the_mound_s_section_that_ends_in_a_face() -> None:
    """Without any head there is no reach uphill: the mound's end, between a full section as wide as
    the return less its face, and one as wide as the return.
    """
    end = one_end(SHAPE, 0.25, 1.2, 0.0, 0.0, 0.08)
    assert end.uphill_m[0] == 0.0
    area = float(section_area_m2(SHAPE, *(np.array(v) for v in (0.25, 1.2, 0.0, 0.08))))
    volume = float(end.volume_m3(SHAPE)[0])
    assert area * (end.width_m[0] - 2.5 * end.face_m[0]) < volume < area * end.width_m[0] * 1.1


def test_without_a_mound_there_is_nothing() -> None:
    end = one_end(SHAPE, 0.0, 0.0, 0.1, 0.05, 0.08)
    assert end.volume_m3(SHAPE)[0] == 0.0
