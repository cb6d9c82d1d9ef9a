"""Earthwork volumes: a published example by end areas; else the rules of geometry, marked D."""

import numpy as np
import pytest

from soakline.grid import FloatArray
from soakline.section.earthworks import average_end_area_m3
from soakline.section.reach import spoil_factor
from soakline.section.stations import Chainages
from soakline.section.trench import Trench


def volume_m3(along_m: FloatArray, area_m2: FloatArray) -> float:
    (volume,) = average_end_area_m3(Chainages(np.array([0, along_m.size]), along_m), area_m2)
    return float(volume)


def test_trapezoid() -> None:
    """Base 1.5 m, batter 2, depth 0.5 m: 1.25 m², 3.5 m wide at the top. D."""
    trench = Trench(1.5, 0.5, 2.0)
    assert trench.area_m2 == pytest.approx(1.25, abs=1e-12)
    assert trench.top_width_m == pytest.approx(3.5, abs=1e-12)


def test_average_end_area() -> None:
    """That trench 0.5 and 1.0 m deep at the ends of 20 m: 47.5 m³. D."""
    ends = np.array([Trench(1.5, depth, 2.0).area_m2 for depth in (0.5, 1.0)])
    assert ends == pytest.approx([1.25, 3.5])
    assert volume_m3(np.array([0.0, 20.0]), ends) == pytest.approx(47.5, abs=1e-9)


def test_average_end_areas_of_a_road() -> None:
    """*Fundamentals of Transportation* (Wikibooks), Earthwork, worked solution, read on line.

    Fill and cut at six stations; strips that run out to nothing go by a pyramid there, A L / 3. It
    gives 4087.5 m³ of fill and 1058.3 m³ of cut.
    """
    fill = volume_m3(np.array([0.0, 50.0, 75.0, 100.0]), np.array([60.0, 50.0, 25.0, 5.0]))
    cut = volume_m3(np.array([100.0, 115.0, 150.0]), np.array([10.0, 15.0, 30.0]))
    assert fill + 5.0 * 15.0 / 3.0 == pytest.approx(4087.5, abs=1e-9)
    assert cut + 10.0 * 25.0 / 3.0 == pytest.approx(1058.3, abs=0.05)


def test_average_end_area_lies_over_the_prismoid_s_volume() -> None:
    """Mid-depth 0.75 m has 2.25 m²: 20 (1.25 + 9 + 3.5) / 6 = 45.833 m³, 1.667 m³ less. D.

    Ever closer stations come to the true volume.
    """
    along = np.linspace(0.0, 20.0, 401)
    area = np.array([Trench(1.5, 0.5 + 0.025 * x, 2.0).area_m2 for x in along])
    assert volume_m3(along, area) == pytest.approx(45.833, abs=0.001)
    ends = volume_m3(along[[0, -1]], area[[0, -1]])
    assert ends - 45.8333 == pytest.approx(1.667, abs=0.001)


def test_a_pyramid_shows_how_far_end_areas_may_err() -> None:
    """From 0 to 30 m² over 100 m: 1500 m³ by end areas, 1000 m³ in truth. D."""
    assert volume_m3(np.array([0.0, 100.0]), np.array([0.0, 30.0])) == 1500.0
    along = np.linspace(0.0, 100.0, 2001)
    true = volume_m3(along, 30.0 * (along / 100.0) ** 2)
    assert true == pytest.approx(1000.0, rel=1e-5)


def test_a_prism_is_its_area_times_its_length() -> None:
    along = np.array([0.0, 3.0, 11.0, 20.0])
    assert volume_m3(along, np.full(4, 1.25)) == pytest.approx(25.0)


def test_spoil_swells_and_settles() -> None:
    """100 m³ of bank at 25 % swell are 125 m³ loose, at 10 % settlement 112.5 m³. D."""
    assert 100.0 * spoil_factor(25.0, 0.0) == pytest.approx(125.0)
    assert 100.0 * spoil_factor(25.0, 10.0) == pytest.approx(112.5)
    # Bank for 90 m³ of fill that shrinks by a tenth: 100 m³.
    assert 100.0 * spoil_factor(0.0, 10.0) == pytest.approx(90.0)
