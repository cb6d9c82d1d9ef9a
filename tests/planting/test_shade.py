"""Crowns over the years, and when they shade places: closed forms."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakline.planting.growth import crown_width_m
from soakline.planting.shade import closing_crown_m, closing_year, shaded_from_year, share_shaded

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


def test_crowns_of_the_closing_width_just_close() -> None:
    """All trees that wide shade six tenths of each trench; a hair narrower, they do not."""
    random = np.random.default_rng(3)
    place, tree = random.uniform(0.0, 60.0, (2, 400)), random.uniform(0.0, 60.0, (2, 25))
    lip = np.repeat([0, 2], 200)
    wide = closing_crown_m(lip, (place[0], place[1]), (tree[0], tree[1]), 3)
    assert np.isnan(wide).tolist() == [False, True, False]

    def closes(crown_m: float) -> list[bool]:
        from_year = shaded_from_year(
            (place[0], place[1]),
            (tree[0], tree[1]),
            np.ones(25, dtype=np.int64),
            np.full(25, crown_m),
            np.full(25, 10.0),
        )
        return np.isfinite(closing_year(lip, from_year, 3)).tolist()

    for trench in (0, 2):
        assert closes(wide[trench] * (1.0 + 1e-9))[trench]
        assert not closes(wide[trench] * (1.0 - 1e-9))[trench]


def test_where_no_tree_stands_no_width_closes() -> None:
    none = np.zeros(0)
    assert np.isnan(closing_crown_m(np.array([0]), HERE, (none, none), 1)).all()
