"""Time for a full trench to soak away through its base: t = d / K."""

import pytest

from soakline.section.soils import soil_for, soils


@pytest.mark.parametrize(
    ("depth_m", "ksat_mm_h", "hours"), [(0.5, 6.5, 76.9), (0.5, 3.4, 147.0), (0.5, 10.9, 45.9)]
)
def test_empty_time_through_the_base_alone(depth_m: float, ksat_mm_h: float, hours: float) -> None:
    """Time t = d / K with K of Rawls, Brakensiek & Miller 1983 Table 4.3.1. D.

    Arithmetic that the trench's own emptying curve must agree with; a limit of 72 h (US EPA
    832-F-99-019, M) is passed by the last alone.
    """
    assert depth_m * 1000.0 / ksat_mm_h == pytest.approx(hours, abs=0.1)


@pytest.mark.parametrize(
    ("texture", "ksat_mm_h"),
    [
        ("sand", 210.0),
        ("loamy-sand", 61.1),
        ("sandy-loam", 25.9),
        ("loam", 13.2),
        ("silt-loam", 6.8),
        ("sandy-clay-loam", 4.3),
        ("clay-loam", 2.3),
        ("silty-clay-loam", 1.5),
        ("sandy-clay", 1.2),
        ("silty-clay", 0.9),
        ("clay", 0.6),
    ],
)
def test_saturated_conductivity_by_texture(texture: str, ksat_mm_h: float) -> None:
    """Rawls, Brakensiek & Saxton 1982 Table 2. C."""
    assert soil_for(texture).ksat_mm_h == ksat_mm_h


def test_the_coarser_the_soil_the_faster_it_soaks() -> None:
    """Order of Rawls, Brakensiek & Saxton 1982 Table 2. C."""
    speeds = [soil.ksat_mm_h for soil in soils().values()]
    assert speeds == sorted(speeds, reverse=True)


def test_loam_stands_at_one_and_a_half_to_one_and_no_batter_is_vertical() -> None:
    """The run file's default for loam; Chow 1959 Table 7-1 spans 0 to 3 (M)."""
    assert soil_for("loam").batter == 1.5
    assert all(1.0 <= soil.batter <= 3.0 for soil in soils().values())


def test_texture_is_read_with_spaces_and_capitals() -> None:
    """As soil maps print it."""
    assert soil_for("Sandy Clay_loam") is soils()["sandy-clay-loam"]
    with pytest.raises(ValueError, match="no soil texture"):
        soil_for("porridge")
