"""Rawls, Brakensiek & Miller 1983, J. Hydraul. Eng. 109(1); reprinted in Chow et al. 1988."""

import pytest

from soakline import tables
from soakline.water.green_ampt import green_ampt_for


@pytest.mark.parametrize(
    ("texture", "effective_porosity", "suction_mm", "conductivity_mm_h"),
    [
        ("sand", 0.417, 49.5, 117.8),
        ("sandy-loam", 0.412, 110.1, 10.9),
        ("loam", 0.434, 88.9, 3.4),
        ("silt-loam", 0.486, 166.8, 6.5),
        ("clay-loam", 0.309, 208.8, 1.0),
        ("clay", 0.385, 316.3, 0.3),
    ],
)
def test_parameters_by_texture(
    texture: str, effective_porosity: float, suction_mm: float, conductivity_mm_h: float
) -> None:
    """Table 4.3.1 of Chow et al. 1988, dry to a tenth. C. Loam is below silt loam, as printed."""
    dry = green_ampt_for(texture, "I")
    assert dry.conductivity_mm_h == conductivity_mm_h
    assert dry.suction_deficit_mm == pytest.approx(0.9 * effective_porosity * suction_mm)


def test_porosities_and_conductivities_of_the_whole_table_are_in_order() -> None:
    """Effective porosity is part of porosity; finer soils conduct less, loam apart. C."""
    rows = {row["texture"]: row for row in tables.rows("green_ampt.csv")}
    assert all(float(r["effective_porosity"]) < float(r["porosity"]) < 0.51 for r in rows.values())
    rates = [float(r["conductivity_mm_h"]) for name, r in rows.items() if name != "loam"]
    assert rates == sorted(rates, reverse=True)
