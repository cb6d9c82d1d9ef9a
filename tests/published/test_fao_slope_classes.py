"""Slope classes: FAO 2006, Guidelines for soil description, 4th edition, Table 7."""

import math

import numpy as np
import pytest

from soakline.runfile.sections import TerrainKeys
from soakline.terrain.clean_classes import class_of

# Class, slope inside it, lower and upper limit in percent. C.
TABLE_7 = [
    (1, 0.1, 0.0, 0.2),
    (2, 0.3, 0.2, 0.5),
    (3, 0.7, 0.5, 1.0),
    (4, 1.5, 1.0, 2.0),
    (5, 3.0, 2.0, 5.0),
    (6, 7.0, 5.0, 10.0),
    (7, 12.0, 10.0, 15.0),
    (8, 20.0, 15.0, 30.0),
    (9, 45.0, 30.0, 60.0),
    (10, 75.0, 60.0, math.inf),
]
LIMITS = np.array([upper for *_, upper in TABLE_7[:-1]])


def test_the_default_limits_are_the_table_s() -> None:
    assert TerrainKeys().slope_class_pct == tuple(LIMITS)


@pytest.mark.parametrize(("number", "slope_pct", "lower", "upper"), TABLE_7)
def test_class_of_a_slope(number: int, slope_pct: float, lower: float, upper: float) -> None:
    """The table is silent on limit values; here a limit belongs to the class above it."""
    assert lower < slope_pct < upper
    found = class_of(np.array([slope_pct, lower], dtype=np.float32), LIMITS.astype(np.float32))
    assert found.tolist() == [number, number]


def test_100_percent_is_45_degrees() -> None:
    """And 15 % is 8.531°. D."""
    assert math.degrees(math.atan(1.0)) == pytest.approx(45.0)
    assert math.degrees(math.atan(0.15)) == pytest.approx(8.531, abs=5e-4)
