"""Frequencies and depths: Langbein 1949, Australian Rainfall and Runoff (2019) Book 1."""

import numpy as np
import pytest

from soakline.inputs.frequencies import aep_pct
from soakline.inputs.types import RainTable
from soakline.water.storms import depth_mm


@pytest.mark.parametrize(
    ("years", "aep"),
    [
        ("1", 0.6321),
        ("2", 0.3935),
        ("5", 0.1813),
        ("10", 0.0952),
        ("20", 0.0488),
        ("50", 0.0198),
        ("100", 0.00995),
    ],
)
def test_exceedance_probability_of_a_return_period(years: str, aep: float) -> None:
    """AEP = 1 − exp(−1/T). C (equation and T = 2), rest D."""
    assert aep_pct(years) / 100.0 == pytest.approx(aep, abs=1e-4)


@pytest.mark.parametrize(
    ("aep", "years"), [(50, 1.443), (20, 4.481), (10, 9.491), (5, 19.496), (1, 99.499)]
)
def test_return_period_of_an_exceedance_probability(aep: float, years: float) -> None:
    """T = −1 / ln(1 − AEP). D."""
    assert aep_pct(str(years)) == pytest.approx(aep, abs=0.02)


def test_a_column_headed_by_probability_keeps_it() -> None:
    """ARR 2019 Book 1 heads tables so."""
    assert aep_pct("10%") == 10.0


def test_depth_between_durations_is_log_log() -> None:
    """30 min 20 mm, 60 min 26 mm give 23.318 mm at 45 min (a straight line: 23.0). D."""
    table = RainTable(np.array([30.0, 60.0]), ("10",), np.array([[20.0], [26.0]]))
    assert depth_mm(table, 0, 45.0) == pytest.approx(23.318, abs=0.001)
    assert depth_mm(table, 0, [30.0, 60.0]).tolist() == [20.0, 26.0]


@pytest.mark.parametrize("duration_min", [29.9, 60.1])
def test_depth_is_never_extrapolated(duration_min: float) -> None:
    """Outside the table there is no depth."""
    table = RainTable(np.array([30.0, 60.0]), ("10",), np.array([[20.0], [26.0]]))
    with pytest.raises(ValueError, match="outside the table"):
        depth_mm(table, 0, duration_min)
