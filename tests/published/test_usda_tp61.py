"""USDA SCS-TP-61, Handbook of Channel Design (1947, revised 1954), and the bare-earth figures."""

import pytest

from soakline.overflow.velocity import (
    SoilResistance,
    bare_earth_permissible_ms,
    covers,
    permissible_ms,
)
from soakline.section.soils import soils

M_PER_FOOT = 0.3048


@pytest.mark.parametrize(
    ("cover", "slope_pct", "resistant_ft_s", "erodible_ft_s"),
    [
        ("bermudagrass", 2.0, 8.0, 6.0),
        ("bermudagrass", 7.0, 7.0, 5.0),
        ("bermudagrass", 18.0, 6.0, 4.0),
        ("sod-grasses", 2.0, 7.0, 5.0),
        ("sod-grasses", 7.0, 6.0, 4.0),
        ("sod-grasses", 18.0, 5.0, 3.0),
        ("grass-mixture", 2.0, 5.0, 4.0),
        ("grass-mixture", 7.0, 4.0, 3.0),
        ("lespedeza-lovegrass-alfalfa-redtop-fescue", 4.0, 3.5, 2.5),
        ("annuals", 4.0, 3.5, 2.5),
    ],
)
def test_permissible_velocities_of_table_3(
    cover: str, slope_pct: float, resistant_ft_s: float, erodible_ft_s: float
) -> None:
    """SCS-TP-61 Table 3, ft/s. C."""
    resistant = permissible_ms(cover, "erosion-resistant", slope_pct)
    erodible = permissible_ms(cover, "erodible", slope_pct)
    assert resistant == pytest.approx(resistant_ft_s * M_PER_FOOT)
    assert erodible == pytest.approx(erodible_ft_s * M_PER_FOOT)


@pytest.mark.parametrize(("cover", "limit_pct"), [("grass-mixture", 10.0), ("annuals", 5.0)])
def test_steeper_than_the_last_row_needs_lining(cover: str, limit_pct: float) -> None:
    """SCS-TP-61 Table 3: "not above" the limit, so the limit itself still counts. C."""
    assert permissible_ms(cover, "erodible", limit_pct) is not None
    assert permissible_ms(cover, "erodible", limit_pct + 0.01) is None


@pytest.mark.parametrize("soil", ["erodible", "erosion-resistant"])
def test_permissible_velocity_never_rises_with_slope(soil: SoilResistance) -> None:
    """SCS-TP-61 Table 3, as a whole. D."""
    for cover in covers():
        speeds = [permissible_ms(cover, soil, slope_pct) for slope_pct in range(41)]
        bound = [speed for speed in speeds if speed is not None]
        assert bound == sorted(bound, reverse=True)
        assert all(speed is None for speed in speeds[len(bound) :])


@pytest.mark.parametrize(
    ("texture", "ft_s"),
    [
        ("sand", 1.5),
        ("sandy-loam", 1.5),
        ("silt-loam", 1.5),
        ("sandy-clay-loam", 2.0),
        ("clay", 2.5),
    ],
)
def test_bare_earth_velocities(texture: str, ft_s: float) -> None:
    """Minnesota Stormwater Manual, runoff on to a bare berm, ft/s. C."""
    assert bare_earth_permissible_ms(texture) == pytest.approx(ft_s * M_PER_FOOT)


def test_every_soil_texture_has_a_bare_earth_velocity_below_that_of_grass() -> None:
    """Ours: a texture without a printed figure takes the lower of its neighbours'."""
    for texture in soils():
        grass_ms = permissible_ms("grass-mixture", "erodible", 5.0)
        assert grass_ms is not None
        assert bare_earth_permissible_ms(texture) < grass_ms


def test_unknown_cover_soil_or_texture_is_refused() -> None:
    """The table has no such entry: better no figure than a guess."""
    with pytest.raises(ValueError, match="no cover"):
        permissible_ms("bare-clay", "erodible", 3.0)
    with pytest.raises(ValueError, match="soil is"):
        permissible_ms("annuals", "soft", 3.0)  # type: ignore[arg-type]
    for slope_pct in (-0.5, float("nan")):
        with pytest.raises(ValueError, match="negative"):
            permissible_ms("annuals", "erodible", slope_pct)
    with pytest.raises(ValueError, match="no bare-earth velocity"):
        bare_earth_permissible_ms("porridge")
