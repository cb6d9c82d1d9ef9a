"""Lining of sills and aprons by the water's velocity against what cover and bare earth bear."""

from dataclasses import dataclass

import pytest

from soakline import tables
from soakline.overflow.aprons import linings, linings_of, sill_velocity_ms

# Bare loam 0.4572 m/s (1.5 ft/s): assigned, by the Minnesota Stormwater Manual's bare berms.
BARE_MS = 0.4572


@dataclass(frozen=True)
class FakeSill:
    length_m: float


@dataclass(frozen=True)
class FakeRoute:
    """What of a route decides its lining."""

    sill: FakeSill
    spill_m3s: float
    velocity_ms: float
    permissible_ms: float
    lining: str
    swale: int = 0


def lining(flow_m2s: float, velocity_ms: float, permissible_ms: float, holds: bool) -> str:
    route = FakeRoute(
        FakeSill(5.0), 5.0 * flow_m2s, velocity_ms, permissible_ms,
        "grass" if holds else "lining needed",
    )  # fmt: skip
    return linings_of([route], ["loam"])[0].name  # type: ignore[list-item]


def test_critical_velocity_is_that_of_critical_depth() -> None:
    """Rectangular section: y = (q² / g)^(1/3) and V = q / y (Chow 1959, section 4-3)."""
    depth = (0.046**2 / 9.80665) ** (1.0 / 3.0)
    assert sill_velocity_ms(0.046) == pytest.approx(0.046 / depth)


@pytest.mark.parametrize(
    ("flow_m2s", "velocity_ms", "holds", "wanted"),
    [
        (0.005, 0.3, True, "grass"),
        (0.005, BARE_MS + 0.01, True, "grass on matting"),
        (0.020, 0.3, True, "grass on matting"),  # fast on the sill alone: 0.58 m/s
        (0.046, 1.1, False, "stone on geotextile"),
        (0.200, 0.3, True, "stone on geotextile"),  # 1.25 m/s on the sill
    ],
)
def test_the_faster_of_sill_and_route_decides(
    flow_m2s: float, velocity_ms: float, holds: bool, wanted: str
) -> None:
    assert lining(flow_m2s, velocity_ms, 0.9144, holds) == wanted


def test_every_lining_protects_more_than_the_published_least_and_has_its_source() -> None:
    """15A NCAC 02H .1059 (7): at least 12 inches below the lip."""
    rows = tables.rows("sill_linings.csv")
    assert [row["lining"] for row in rows] == [own.name for own in linings()]
    assert all(float(row["apron_m"]) >= 12 * 0.0254 for row in rows)
    assert all(row["source"] for row in rows)
    assert linings()[2].area_m2(5.0) == pytest.approx(5.0 * (0.6 + 3.0))
