"""Trees on the bands of all swales at once: rows, places on them, and what first fit leaves."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from soakline.grid import BoolArray, FloatArray
from soakline.planting.first_fit import Mixtures, first_fit
from soakline.planting.rows import Places, Row
from soakline.planting.trees import BANDS, Band
from soakline.section.stations import IntArray
from soakline.terrain.cells import GeometryArray

# Bands that are filled together, so that their trees come to stand staggered. Where trees stand in
# the trench at all it is the one moist place: it comes first.
_TOGETHER: dict[Band, int] = {"trench": 0, "mound": 1, "below": 1, "uphill": 2}


@dataclass(frozen=True, eq=False, slots=True)
class BandRow:
    """One band of every swale.

    Parameters
    ----------
    band : Band
    row : Row
    within, blocked : ground that the row stays on and off, as of `Row.places`
    """

    band: Band
    row: Row
    within: GeometryArray
    blocked: GeometryArray


@dataclass(frozen=True, eq=False, slots=True)
class Standing:
    """Trees in order of swale, band and chainage; all (n,).

    Parameters
    ----------
    lip, band, species : indices
    easting_m, northing_m : m
    """

    lip: IntArray
    band: IntArray
    species: IntArray
    easting_m: FloatArray
    northing_m: FloatArray


def stand(
    rows: Sequence[BandRow],
    allowed: Callable[[Places], BoolArray],
    mixtures: Mixtures,
    crown_m: FloatArray,
) -> Standing:
    """Plant the bands of all swales.

    Parameters
    ----------
    rows : bands that are planted
    allowed : which of some places a trunk may stand on
    mixtures : of the rows, lip after lip, each in the order of `BANDS`
    crown_m : (species,) full-grown crown width, m

    Returns
    -------
    Standing
    """
    found = [own.row.places(own.within, own.blocked) for own in rows]
    places = Places(
        *(
            np.concatenate([getattr(own, name) for own in found])
            for name in ("lip", "chainage_m", "easting_m", "northing_m")
        )
    )
    band = np.repeat([BANDS.index(own.band) for own in rows], [own.lip.size for own in found])
    together = np.array([_TOGETHER[own] for own in BANDS])[band]
    lips = int(places.lip.max(initial=0)) + 1
    # Places come band after band: a stable order leaves those that lie side by side so.
    order = _along(together * lips + places.lip, places.chainage_m)
    order = order[allowed(places)[order]]
    species = first_fit(
        places.easting_m[order],
        places.northing_m[order],
        (places.lip * len(BANDS) + band)[order],
        mixtures,
        crown_m,
    )
    kept, species = order[species >= 0], species[species >= 0]
    again = _along(places.lip[kept] * len(BANDS) + band[kept], places.chainage_m[kept])
    kept, species = kept[again], species[again]
    return Standing(
        places.lip[kept], band[kept], species, places.easting_m[kept], places.northing_m[kept]
    )


def _along(row: IntArray, chainage_m: FloatArray) -> IntArray:
    """Order of places by row, then chainage: one sort of one number, where two keys take two."""
    return np.argsort(row * (chainage_m.max(initial=0.0) + 1.0) + chainage_m, kind="stable")
