"""Storms as a plan is given them."""

import itertools
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from soakline.inputs.rain_pattern import RainPattern
from soakline.inputs.rain_table import choose_columns, read_rain_table
from soakline.inputs.types import RainTable
from soakline.water.curve_number import runoff_mm
from soakline.water.storms import (
    depth_mm,
    largest_rain_rise_mm,
    largest_rise_mm,
    storms_for,
)

TABLE = RainTable(
    np.array([5.0, 10.0, 30.0, 60.0]),
    ("10", "1%"),
    np.array([[10.0, 16.0], [15.0, 24.0], [27.0, 43.0], [38.0, 62.0]]),
)


def test_storms_come_by_purpose_duration_and_pattern() -> None:
    ids = [storm.storm_id for storm in storms_for(TABLE, 0, 1, "both")]
    assert ids[:4] == [
        "design-5min-alternating",
        "design-5min-uniform",
        "design-10min-alternating",
        "design-10min-uniform",
    ]
    assert len(ids) == len(set(ids)) == 16
    assert ids[-1] == "check-60min-uniform"


@pytest.mark.parametrize("pattern", ["alternating", "uniform"])
def test_rain_inside_the_shortest_duration_is_steady_whichever_pattern(pattern: str) -> None:
    storms = storms_for(TABLE, 0, 1, pattern)  # type: ignore[arg-type]
    assert len(storms) == 8
    assert {storm.pattern for storm in storms} == {pattern}
    shortest = next(storm for storm in storms if storm.duration_min == 5.0)
    assert shortest.cumulative_depth_mm([2.5]).tolist() == [5.0]


def test_a_storm_carries_its_columns_head_and_probability() -> None:
    check = storms_for(TABLE, 0, 1, "uniform")[-1]
    assert (check.frequency, check.aep_pct, check.depth_mm) == ("1%", 1.0, 62.0)


def test_uplift_multiplies_every_depth() -> None:
    plain, raised = (storms_for(TABLE, 0, 1, "both", uplift)[5] for uplift in (0.0, 20.0))
    assert np.array(raised.depths_mm) == pytest.approx(1.2 * np.array(plain.depths_mm))


def test_rain_stands_before_and_after_the_storm() -> None:
    storm = storms_for(TABLE, 0, 1, "uniform")[3]
    depths_mm = storm.cumulative_depth_mm([-5.0, 0.0, 30.0, 60.0, 90.0])
    assert depths_mm.tolist() == [0.0, 0.0, 19.0, 38.0, 38.0]


def test_largest_rise_of_rain_is_the_shortest_durations_intensity() -> None:
    """10 mm in 5 min is 2.4 mm in 72 s, in every alternating storm and at any place."""
    for storm in storms_for(TABLE, 0, 1, "alternating")[:4]:
        assert largest_rain_rise_mm(storm) == pytest.approx(2.4)


def test_a_window_longer_than_the_storm_holds_it_all() -> None:
    storm = storms_for(TABLE, 0, 1, "uniform")[0]
    assert largest_rain_rise_mm(storm, 3600.0) == pytest.approx(10.0)
    assert largest_rise_mm(storm, 90.0, 3600.0) == pytest.approx(float(runoff_mm(10.0, 90.0)))


def test_largest_rise_of_uniform_rain_is_in_its_last_seconds() -> None:
    """Ground sheds ever more of steady rain, so the last 72 s of the storm give most."""
    storm = storms_for(TABLE, 0, 1, "uniform")[3]
    last = runoff_mm(38.0, 80.0) - runoff_mm(38.0 * (1.0 - 1.2 / 60.0), 80.0)
    assert largest_rise_mm(storm, 80.0) == pytest.approx(float(last), rel=1e-9)


def test_the_window_of_largest_rise_may_begin_anywhere() -> None:
    """Heavy rain, then half of it: the window ends inside the lighter, on ever wetter ground."""
    storm = storms_for(TABLE, 0, 1, "alternating")[1]
    assert storm.depths_mm == (0.0, 10.0, 15.0)

    def rise_mm(start_min: float, number: float) -> float:
        fallen = storm.cumulative_depth_mm([start_min, start_min + 5.0])
        return float(np.diff(runoff_mm(fallen, number))[0])

    for number in (92.0, 95.0, 98.0):
        found = minimize_scalar(
            lambda start, number=number: -rise_mm(start, number),
            bounds=(0.0, 5.0),
            method="bounded",
            options={"xatol": 1e-9},
        )
        assert 0.1 < found.x < 4.9
        assert largest_rise_mm(storm, number, 300.0) == pytest.approx(-found.fun, rel=1e-7)


OWN = RainPattern(np.array([0.0, 0.25, 0.5, 1.0]), np.array([0.0, 0.1, 0.1, 1.0]))


def test_a_pattern_of_ones_own_is_run_with_a_uniform_one_beside_it() -> None:
    storms = storms_for(TABLE, 0, 1, OWN, 20.0)
    assert [storm.storm_id for storm in storms[:2]] == ["design-5min-file", "design-5min-uniform"]
    assert [storm.pattern for storm in storms] == ["file", "uniform"] * 8
    hour = storms[6]
    assert hour.times_min == (0.0, 15.0, 30.0, 60.0)
    assert hour.depths_mm == pytest.approx((0.0, 4.56, 4.56, 45.6))
    assert hour.depth_mm == hour.depths_mm[-1]
    assert storms[7] == storms_for(TABLE, 0, 1, "uniform", 20.0)[3]


def test_no_uplift_is_an_uplift_of_nothing() -> None:
    assert storms_for(TABLE, 0, 1, "both") == storms_for(TABLE, 0, 1, "both", 0.0)
    assert storms_for(TABLE, 0, 1, "both")[7].depths_mm == (0.0, 38.0)


def test_depths_between_durations_lie_on_a_line_of_logarithms() -> None:
    """Half way from 10 to 30 min and from 15 to 27 mm, both on a scale of logarithms."""
    between = depth_mm(TABLE, 0, [10.0, 300.0**0.5, 30.0])
    assert between == pytest.approx([15.0, (15.0 * 27.0) ** 0.5, 27.0], rel=1e-12)


@pytest.mark.parametrize("duration_min", [4.999, 60.001, 0.0])
def test_depths_are_never_extrapolated(duration_min: float) -> None:
    with pytest.raises(ValueError, match="outside the table"):
        depth_mm(TABLE, 0, duration_min)


def test_the_order_of_the_files_columns_changes_no_storm(tmp_path: Path) -> None:
    rows = [["duration_min", "2", "10", "1%"], ["5", "6", "10", "16"], ["60", "24", "38", "62"]]
    found = []
    for order in itertools.permutations((1, 2, 3)):
        file = tmp_path / "rain.csv"
        file.write_text("\n".join(",".join(row[k] for k in (0, *order)) for row in rows))
        table = read_rain_table(file)
        columns = choose_columns(table, "10", "1%", "rain.csv")
        found.append(storms_for(table, columns.design, columns.check, "both", 10.0))
    assert all(storms == found[0] for storms in found[1:])
    assert len(found) == 6


def test_a_files_name_is_no_pattern() -> None:
    with pytest.raises(ValueError, match=r"mine\.csv"):
        storms_for(TABLE, 0, 1, "mine.csv")  # type: ignore[arg-type]
