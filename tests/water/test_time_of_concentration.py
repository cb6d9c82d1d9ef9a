"""Times that water takes: what they depend on, and what they do not."""

import numpy as np
import pytest

from soakline.inputs.types import RainTable
from soakline.water.time_of_concentration import (
    concentration_h,
    lag_h,
    sheet_flow_h,
    two_year_24h_mm,
)

LENGTH_M = np.array([50.0, 200.0, 800.0])
DROP_M = np.array([4.0, 10.0, 60.0])
SLOPE_PCT = np.array([8.0, 5.0, 9.0])
METHODS = ["lag", "velocity", "kirpich"]


def hours(method: str, length=LENGTH_M, drop=DROP_M, slope=SLOPE_PCT, rain_mm=70.0):
    return concentration_h(method, length, drop, slope, 74.0, rain_mm)


@pytest.mark.parametrize("method", METHODS)
def test_swales_are_reckoned_one_by_one(method: str) -> None:
    together = hours(method)
    alone = [hours(method, LENGTH_M[[k]], DROP_M[[k]], SLOPE_PCT[[k]])[0] for k in range(3)]
    assert together.tolist() == alone
    assert together.shape == (3,)


@pytest.mark.parametrize("method", METHODS)
def test_longer_and_gentler_ways_take_longer(method: str) -> None:
    base = hours(method, 10 * LENGTH_M, 10 * DROP_M)
    assert np.all(hours(method, 20 * LENGTH_M, 20 * DROP_M) > base)
    assert np.all(hours(method, 10 * LENGTH_M, 5 * DROP_M, SLOPE_PCT / 2.0) > base)


@pytest.mark.parametrize("method", METHODS)
def test_level_and_rising_ways_end_somewhere(method: str) -> None:
    level = hours(method, drop=np.zeros(3), slope=np.zeros(3))
    assert np.all(np.isfinite(level))
    assert level.tolist() == hours(method, drop=-DROP_M, slope=np.zeros(3)).tolist()
    assert level.tolist() == hours(method, drop=LENGTH_M / 1000.0, slope=np.full(3, 0.1)).tolist()


def test_the_velocity_method_changes_from_sheet_to_concentrated_flow_without_a_leap() -> None:
    just, more = (30.48, 30.49)
    slopes = 0.02
    times = concentration_h(
        "velocity", [just, more], [just * slopes, more * slopes], [2, 2], 74, 70
    )
    assert times[0] == pytest.approx(float(sheet_flow_h(just, slopes, 70.0)), rel=1e-12)
    assert 0.0 < times[1] - times[0] < 1e-4


def test_only_sheet_flow_asks_for_the_two_year_rain() -> None:
    for method in ("lag", "kirpich"):
        assert hours(method, rain_mm=20.0).tolist() == hours(method, rain_mm=200.0).tolist()
    assert np.all(hours("velocity", rain_mm=20.0) >= hours("velocity", rain_mm=200.0))


def test_a_lag_follows_the_curve_number_of_each_catchment() -> None:
    assert np.all(np.diff(lag_h(500.0, 8.0, [60.0, 74.0, 90.0])) < 0.0)


@pytest.mark.parametrize(
    ("method", "length_m", "slope_pct", "rain_mm"),
    [
        ("guess", 5.0, 5.0, 50.0),
        ("lag", -1.0, 5.0, 50.0),
        ("lag", 5.0, -1.0, 50.0),
        ("lag", 5.0, 5.0, 0.0),
    ],
)
def test_what_makes_no_sense_is_refused(
    method: str, length_m: float, slope_pct: float, rain_mm: float
) -> None:
    with pytest.raises(ValueError, match=r"method|negative"):
        hours(method, np.array([length_m]), np.array([1.0]), np.array([slope_pct]), rain_mm)


def rain(durations: list[float], *frequency: str) -> RainTable:
    depth = np.outer(np.arange(1.0, len(durations) + 1.0), np.arange(1.0, len(frequency) + 1.0))
    return RainTable(np.array(durations), frequency, 10.0 * depth)


def test_two_year_rain_of_a_day_is_taken_as_it_stands() -> None:
    assert two_year_24h_mm(rain([60.0, 1440.0, 2880.0], "1", "2", "10")) == (40.0, "")


def test_two_year_rain_between_durations_lies_on_a_line_of_logarithms() -> None:
    depth_mm, note = two_year_24h_mm(rain([720.0, 2880.0], "2"))
    assert depth_mm == pytest.approx((10.0 * 20.0) ** 0.5)
    assert note == ""


@pytest.mark.parametrize(
    ("durations", "frequency", "depth_mm", "words"),
    [
        ([60.0, 1440.0], ("50%", "10%"), 20.0, ["50%", "AEP = 1/T"]),
        ([60.0, 1440.0], ("5", "10"), 20.0, ["most frequent column, 5"]),
        ([60.0, 720.0], ("2", "10"), 20.0, ["duration of 720 min"]),
        ([2880.0, 4320.0], ("2", "10"), 10.0, ["duration of 2880 min"]),
        ([60.0, 720.0], ("10%", "1%"), 20.0, ["most frequent column, 10%", "720 min"]),
    ],
)
def test_what_stands_in_for_two_year_rain_is_noted(
    durations: list[float], frequency: tuple[str, ...], depth_mm: float, words: list[str]
) -> None:
    found_mm, note = two_year_24h_mm(rain(durations, *frequency))
    assert found_mm == pytest.approx(depth_mm)
    assert all(word in note for word in words)
