"""Months of the works by rain and evaporation, on both halves of the globe and in odd climates."""

import numpy as np
import pytest

from soakline.works.seasons import seasons_of

# Winter rain, dry summer, of the northern half: January first.
RAIN = np.array([100.0, 90, 80, 50, 30, 10, 2, 3, 30, 70, 90, 110])
ET0 = np.array([1.0, 1.4, 2.2, 3.2, 4.5, 6.0, 7.0, 6.2, 4.4, 2.6, 1.4, 0.9])


def test_dug_in_the_dry_seeded_after_the_first_soaking_rain_planted_after_that() -> None:
    found = seasons_of(RAIN, ET0)
    # In October 70 mm fall and 81 are wanted; in September 30 of 132.
    assert (found.dry, found.soak, found.plant) == (6, 9, 10)
    assert (found.wet, found.rest) == (11, 11)


@pytest.mark.parametrize("months", range(1, 12))
def test_seasons_turn_with_the_year(months: int) -> None:
    base, turned = seasons_of(RAIN, ET0), seasons_of(np.roll(RAIN, months), np.roll(ET0, months))
    for name in ("dry", "soak", "plant", "wet", "rest"):
        assert getattr(turned, name) == (getattr(base, name) + months) % 12


def test_where_rain_never_comes_to_half_the_wettest_month_soaks_most() -> None:
    found = seasons_of(0.1 * RAIN, np.full(12, 5.0))
    assert found.soak == found.wet == 11


def test_where_it_always_rains_enough_the_month_after_the_driest_does() -> None:
    found = seasons_of(RAIN + 300.0, ET0)
    assert found.soak == found.dry + 1
