"""What the base is treated with: how much faster it soaks, what it takes, where it is any use."""

from dataclasses import dataclass
from functools import cache
from math import inf

from soakline import tables


@dataclass(frozen=True, slots=True)
class Amendment:
    """Treatment of a swale's base.

    Parameters
    ----------
    name : as in the run file
    soak_factor : multiplies the soaking rate that clogging leaves
    layer_m : of what is filled in below the base, which is dug deeper by as much, m
    worked_m : to which the ground below the base is loosened or mixed, m
    dose_kg_m2 : by area of base
    groups : of soils on which it is any use
    widest_base_m : widest base that it suits, m
    """

    name: str
    soak_factor: float
    layer_m: float
    worked_m: float
    dose_kg_m2: float
    groups: tuple[str, ...]
    widest_base_m: float


UNTREATED = Amendment("none", 1.0, 0.0, 0.0, 0.0, ("sandy", "loamy", "clayey"), inf)


@cache
def amendments() -> dict[str, Amendment]:
    """Every treatment of `config/amendments.csv` by its name, and none.

    Notes
    -----
    Factors are cautious and hold for ground that was not compacted: tillage of compacted ground
    gained far more in [Mohammadshirazi2016]_, and what it made good is not counted here.
    """
    return {"none": UNTREATED} | {
        row["amendment"]: Amendment(
            row["amendment"],
            float(row["soak_factor"]),
            float(row["layer_m"]),
            float(row["worked_m"]),
            float(row["dose_kg_m2"]),
            tuple(row["groups"].split()),
            float(row["widest_base_m"]) or inf,
        )
        for row in tables.rows("amendments.csv")
    }
