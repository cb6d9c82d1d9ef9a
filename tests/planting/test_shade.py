"""Crowns over the years, and when they shade places: closed forms."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakline.planting.growth import crown_width_m
from soakline.planting.shade import closing_year, shaded_from_year, share_shaded

HERE = (np.zeros(1), np.zeros(1))


@given(
    crown=st.floats(1.0, 20.0),
    grown=st.floats(2.0, 60.0),
    share=st.floats(0.01, 0.99),
    year=st.integers(1, 10),
)
def test_a_place_is_shaded_when_the_crown_has_grown_to_it(
    crown: float, grown: float, share: float, year: int
) -> None:
    """The age that shading takes, put into the growth curve, gives back twice the distance."""
    place = (np.array([share * crown / 2.0]), np.zeros(1))
    found = shaded_from_year(place, HERE, np.array([year]), np.array([crown]), np.array([grown]))
    width = crown_width_m(found - (year - 1), np.array([crown]), np.array([grown]))
    assert width[0] == pytest.approx(share * crown, rel=1e-9)


def test_no_crown_shades_beyond_its_full_width() -> None:
    place = (np.array([2.5, 2.499]), np.zeros(2))
    found = shaded_from_year(place, HERE, np.array([1]), np.array([5.0]), np.array([10.0]))
    assert np.isinf(found).tolist() == [True, False]


def test_crowns_close_in_the_year_in_which_six_tenths_are_shaded() -> None:
    lip = np.repeat([0, 1], 5)
    year = np.array([1.0, 2.0, 3.2, 9.0, np.inf, 1.0, 2.0, np.inf, np.inf, np.inf])
    assert closing_year(lip, year, 2)[0] == 4.0
    assert np.isnan(closing_year(lip, year, 2)[1])
    assert share_shaded(lip, year, 3.0, 2).tolist() == [0.4, 0.4]
