"""In which month of a year what is best done, by its rain and evaporation."""

from dataclasses import dataclass

import numpy as np

from soakline.grid import FloatArray

_DAYS = np.array([31.0, 28.25, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0])
# Things grow from the month on in which rain is half of evapotranspiration: FAO, Report on the
# Agro-ecological Zones Project (World Soil Resources Report 48, 1978); from memory.
GROWING_SHARE = 0.5


@dataclass(frozen=True, slots=True)
class Seasons:
    """Months, 0 for January.

    Parameters
    ----------
    dry : whose rain is the least share of evaporation: ground bears machines, trenches stay empty
    soak : the first after it whose rain soaks the ground: seed
    plant : the one after that: plant
    wet : with most rain: look after storms
    rest : with least evaporation: cut and thin
    """

    dry: int
    soak: int
    plant: int
    wet: int
    rest: int


def seasons_of(rain_mm: FloatArray, et0_mm: FloatArray) -> Seasons:
    """Months for the works.

    Parameters
    ----------
    rain_mm : (12,) mean of each month
    et0_mm : (12,) reference evapotranspiration of a day in it

    Returns
    -------
    Seasons; where no month's rain comes to half of evapotranspiration, the wettest soaks most

    Examples
    --------
    >>> rain = np.array([10.0, 10, 20, 50, 80, 90, 90, 80, 60, 40, 20, 10])
    >>> seasons_of(rain, np.array([7.0, 6, 5, 3, 2, 1, 1, 2, 3, 4, 5, 6]))
    Seasons(dry=0, soak=3, plant=4, wet=5, rest=5)
    """
    wanted_mm = np.maximum(et0_mm * _DAYS, 1e-9)  # none where the sun does not rise
    dry = int(np.argmin(rain_mm / wanted_mm))
    after = (dry + 1 + np.arange(11)) % 12
    soaks = after[rain_mm[after] >= GROWING_SHARE * wanted_mm[after]]
    wet = int(np.argmax(rain_mm))
    soak = int(soaks[0]) if soaks.size else wet
    return Seasons(dry, soak, (soak + 1) % 12, wet, int(np.argmin(et0_mm)))
