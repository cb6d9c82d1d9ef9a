"""What holds a spillway together: a level sill across the lip, an apron below it, and their lining.

A plan counts them; stone sizes, keys and filters are for whoever designs the spillway.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from soakline import tables
from soakline.overflow.routes import Route
from soakline.overflow.velocity import bare_earth_permissible_ms
from soakline.section.pipe import GRAVITY_MS2


@dataclass(frozen=True, slots=True)
class Lining:
    """How a sill and the ground below it are held.

    Parameters
    ----------
    name : in words of the trade
    sill_width_m : level strip across the lip, m
    apron_m : lined ground below it, downhill, m
    """

    name: str
    sill_width_m: float
    apron_m: float

    def area_m2(self, sill_length_m: float) -> float:
        """Of sill and apron together, m²."""
        return sill_length_m * (self.sill_width_m + self.apron_m)


@cache
def linings() -> tuple[Lining, ...]:
    """Linings of `config/sill_linings.csv`, what bears least first: grass, matting, stone."""
    return tuple(
        Lining(row["lining"], float(row["sill_width_m"]), float(row["apron_m"]))
        for row in tables.rows("sill_linings.csv")
    )


def sill_velocity_ms(flow_m2s: float) -> float:
    """Velocity of water that falls free over a level sill.

    Parameters
    ----------
    flow_m2s : per metre of sill, m³/s

    Returns
    -------
    m/s; critical flow, V = (g q)^(1/3), [Chow1959]_ section 4-3 (from memory)

    Examples
    --------
    >>> round(sill_velocity_ms(0.046), 3)
    0.767
    """
    return float((GRAVITY_MS2 * flow_m2s) ** (1.0 / 3.0))


def linings_of(routes: Sequence[Route], textures: Sequence[str]) -> list[Lining]:
    """Lining of each route's sill and apron.

    The faster of the water on the sill and of that on the route decides: what the grown cover does
    not bear takes stone, what bare earth does not bear takes matting until grass stands.

    Parameters
    ----------
    routes : Route
    textures : of the soil, by swale
    """
    grass, matting, stone = linings()
    found = []
    for route in routes:
        over_ms = sill_velocity_ms(route.spill_m3s / route.sill.length_m)
        fastest = max(over_ms, route.velocity_ms)
        if route.lining != "grass" or over_ms > route.permissible_ms:
            found.append(stone)
        elif fastest > bare_earth_permissible_ms(textures[route.swale]):
            found.append(matting)
        else:
            found.append(grass)
    return found
