"""What a soil holds for plants, by its texture."""

from functools import cache

import numpy as np

from soakline import tables
from soakline.grid import FloatArray


@cache
def plant_water() -> dict[str, float]:
    """Water between field capacity and wilting point by texture, share of the soil's volume.

    Examples
    --------
    >>> round(plant_water()["loam"], 3)
    0.13
    """
    return {
        row["texture"]: float(row["field_capacity"]) - float(row["wilting_point"])
        for row in tables.rows("soil_water.csv")
    }


def plant_water_of(texture: tuple[str, ...]) -> FloatArray:
    """The same for each of several soils, (n,)."""
    return np.array([plant_water()[own] for own in texture], dtype=float)
