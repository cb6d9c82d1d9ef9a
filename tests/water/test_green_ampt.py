"""Infiltration by Green and Ampt: against the closed form, and whichever way rain is divided."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.special import lambertw

from soakline import tables
from soakline.grid import FloatArray
from soakline.runfile.keys import TEXTURES
from soakline.water.green_ampt import (
    EFFECTIVE_SATURATION,
    GreenAmpt,
    green_ampt_for,
    shed_mm,
)

LOAM = green_ampt_for("silt-loam", "II")
BURSTS_MIN = np.array([0.0, 20.0, 40.0, 45.0, 60.0, 90.0, 100.0, 160.0])
BURSTS_MM = np.array([0.0, 2.0, 30.0, 48.0, 49.0, 49.0, 61.0, 90.0])

grounds = st.builds(GreenAmpt, st.floats(0.01, 200.0), st.floats(0.0, 300.0))
falls_mm = st.lists(st.floats(0.0, 40.0), min_size=1, max_size=12)


def ponded_mm(start_mm: float, hours: float, ground: GreenAmpt) -> float:
    """Infiltrated depth of ground ponded throughout, by the lower branch of Lambert's W."""
    suction = ground.suction_deficit_mm
    level = 1.0 + start_mm / suction
    argument = -level * np.exp(-level - ground.conductivity_mm_h * hours / suction)
    return float(-suction * (1.0 + lambertw(argument, -1).real))


def rates_integrated_mm(times_min: FloatArray, rain_mm: FloatArray, ground: GreenAmpt) -> float:
    """All that infiltrates, by stepping df = min(rate, K (1 + ψΔθ / F)) interval by interval."""
    infiltrated = 1e-9
    for k in range(times_min.size - 1):
        hours = (times_min[k + 1] - times_min[k]) / 60.0
        rate = (rain_mm[k + 1] - rain_mm[k]) / hours

        def capacity(_: float, depth: FloatArray, rate: float = rate) -> FloatArray:
            most = ground.conductivity_mm_h * (1.0 + ground.suction_deficit_mm / depth)
            return np.minimum(rate, most)

        done = solve_ivp(capacity, (0.0, hours), [infiltrated], rtol=1e-9, atol=1e-9, max_step=0.01)
        infiltrated = float(done.y[0, -1])
    return infiltrated


@given(st.floats(0.01, 200.0), st.floats(1.0, 300.0), st.floats(0.05, 24.0))
def test_ponded_ground_follows_the_closed_form(
    conductivity_mm_h: float, suction_mm: float, hours: float
) -> None:
    # Lambert's function is taken of an exponential of this, which has to stay a number.
    assume(conductivity_mm_h * hours / suction_mm < 500.0)
    ground = GreenAmpt(conductivity_mm_h, suction_mm)
    rate_mm_h = 5.0 * conductivity_mm_h
    ponds_h = suction_mm / (4.0 * 5.0 * conductivity_mm_h)
    fallen = np.array([0.0, rate_mm_h * (ponds_h + hours)])
    shed = shed_mm([0.0, 60.0 * (ponds_h + hours)], fallen, ground)
    expected = ponded_mm(rate_mm_h * ponds_h, hours, ground)
    assert fallen[-1] - shed[-1] == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("texture", ["sandy-loam", "silt-loam", "clay"])
def test_bursts_with_pauses_follow_the_rates_integrated_step_by_step(texture: str) -> None:
    ground = green_ampt_for(texture, "II")
    infiltrated = BURSTS_MM[-1] - shed_mm(BURSTS_MIN, BURSTS_MM, ground)[-1]
    expected = rates_integrated_mm(BURSTS_MIN, BURSTS_MM, ground)
    assert infiltrated == pytest.approx(expected, rel=1e-5)


@given(grounds, falls_mm, st.lists(st.floats(0.0, 1.0), max_size=20))
def test_nothing_depends_on_where_steady_rain_is_divided(
    ground: GreenAmpt, falls: list[float], cuts: list[float]
) -> None:
    times_min = 10.0 * np.arange(len(falls) + 1)
    rain_mm = np.concatenate([[0.0], np.cumsum(falls)])
    finer_min = np.union1d(times_min, np.array(cuts) * times_min[-1])
    finer_mm = np.maximum.accumulate(np.interp(finer_min, times_min, rain_mm))
    whole = shed_mm(times_min, rain_mm, ground)
    finer = shed_mm(finer_min, finer_mm, ground)
    assert finer[np.searchsorted(finer_min, times_min)] == pytest.approx(whole, abs=1e-7)


@given(grounds, falls_mm)
def test_what_is_shed_rises_and_never_exceeds_the_rain(
    ground: GreenAmpt, falls: list[float]
) -> None:
    times_min = 10.0 * np.arange(len(falls) + 1)
    rain_mm = np.concatenate([[0.0], np.cumsum(falls)])
    shed = shed_mm(times_min, rain_mm, ground)
    assert shed[0] == 0.0
    assert np.all(np.diff(shed) >= 0.0)
    assert np.all(np.diff(shed) <= np.diff(rain_mm) + 1e-9)


def test_rain_no_faster_than_the_conductivity_never_runs_off() -> None:
    times_min = np.arange(0.0, 100_000.0, 60.0)
    slow = LOAM.conductivity_mm_h * times_min / 60.0 * (1.0 - 1e-12)
    assert shed_mm(times_min, slow, LOAM).tolist() == [0.0] * times_min.size


def test_infiltration_falls_towards_the_conductivity_from_above() -> None:
    times_min = np.concatenate([np.arange(0.0, 6_000.0, 60.0), [6e6, 6e6 + 60.0]])
    rain_mm = 50.0 * times_min / 60.0
    rate_mm_h = np.diff(rain_mm - shed_mm(times_min, rain_mm, LOAM)) / np.diff(times_min) * 60.0
    assert np.all(np.diff(rate_mm_h) < 1e-9)
    assert np.all(rate_mm_h > LOAM.conductivity_mm_h)
    assert rate_mm_h[-1] == pytest.approx(LOAM.conductivity_mm_h, rel=1e-3)


@pytest.mark.parametrize(
    ("ground", "shed"),
    [
        (GreenAmpt(6.5, 0.0), [0.0, 26.75, 26.75]),
        (GreenAmpt(6.5, 1e-310), [0.0, 26.75, 26.75]),
        (GreenAmpt(0.0, 0.0), [0.0, 30.0, 30.0]),
        (GreenAmpt(0.0, 50.0), [0.0, 30.0, 30.0]),
    ],
)
def test_soaked_and_tight_ground_takes_its_conductivity_or_nothing(
    ground: GreenAmpt, shed: list[float]
) -> None:
    assert shed_mm([0, 30, 60], [0, 30, 30], ground) == pytest.approx(shed)


def test_wetter_ground_sheds_more_and_half_a_measured_conductivity_counts() -> None:
    shed = [
        shed_mm(BURSTS_MIN, BURSTS_MM, green_ampt_for("silt-loam", condition))[-1]
        for condition in EFFECTIVE_SATURATION
    ]
    assert shed == sorted(shed)
    assert shed[0] < shed[1] < shed[2]
    own = green_ampt_for("silt-loam", "II", ksat_mm_h=30.0)
    assert own == GreenAmpt(15.0, LOAM.suction_deficit_mm)


def test_every_texture_of_the_run_file_and_of_the_soils_has_parameters() -> None:
    assert tables.names("green_ampt.csv", "texture") == TEXTURES
    assert tables.names("soils.csv", "texture") == TEXTURES
    assert all(row["source"] for row in tables.rows("green_ampt.csv"))


def test_what_makes_no_sense_is_refused() -> None:
    with pytest.raises(ValueError, match="no soil texture"):
        green_ampt_for("silt", "II")
    with pytest.raises(ValueError, match="negative"):
        green_ampt_for("loam", "II", ksat_mm_h=-1.0)
    with pytest.raises(ValueError, match="negative"):
        GreenAmpt(1.0, -1.0)
    for times_min, rain_mm in (([0, 10, 5], [0, 1, 2]), ([0, 5, 10], [0, 2, 1]), ([0, 5], [1, 2])):
        with pytest.raises(ValueError, match="never fall"):
            shed_mm(times_min, rain_mm, LOAM)
