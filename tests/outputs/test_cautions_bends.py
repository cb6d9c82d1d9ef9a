"""What bends take from a swale's water, against rings and against polygons offset by a library."""

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from soakline.outputs.cautions_bends import lost_at_bends, turn_left_rad


@given(
    st.floats(15.0, 200.0),
    st.floats(0.3, 4.0),
    st.sampled_from([1.0, -1.0]),
    st.floats(1.0, 5.0),
)
def test_an_arc_loses_what_its_ring_is_short_of(
    radius_m: float, angle_rad: float, side: float, width_m: float
) -> None:
    """Water of width T inside an arc of radius r: θ (r² − (r − T)²) / 2, r θ T without the bend."""
    angles = side * np.linspace(0.0, angle_rad, 400)
    lip = radius_m * np.column_stack([np.cos(angles), np.sin(angles)])
    inner, outer = sorted([radius_m, radius_m - side * width_m])
    ring = 0.5 * angle_rad * (outer**2 - inner**2)
    plain = radius_m * angle_rad * width_m
    assert lost_at_bends(lip, width_m) == pytest.approx(1.0 - ring / plain, abs=2e-3)


def test_a_bent_lip_loses_what_the_polygon_beside_it_is_short_of() -> None:
    """Single-sided buffer of shapely, on the left."""
    lip = np.array([[0, 0], [30, 0], [55, 12], [70, 35], [72, 60], [90, 75]], dtype=float)
    line, width = shapely.LineString(lip), 3.0
    beside = shapely.buffer(line, width, single_sided=True, join_style="mitre").area
    assert lost_at_bends(lip, width) == pytest.approx(
        1.0 - beside / (line.length * width), abs=3e-3
    )


def test_turns_add_up_across_the_seam_of_headings() -> None:
    west = np.array([[10.0, 0.0], [0.0, 0.1], [-10.0, 0.0], [-20.0, -0.3]])
    assert turn_left_rad(west) == pytest.approx(0.0399867, abs=1e-5)
    assert turn_left_rad(west[::-1]) == pytest.approx(-turn_left_rad(west))


def test_a_straight_lip_loses_nothing() -> None:
    assert lost_at_bends(np.array([[0.0, 0.0], [5.0, 5.0], [9.0, 9.0]]), 3.0) == pytest.approx(0.0)
