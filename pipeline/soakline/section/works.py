"""Ground works of one swale, all together: pegs, volumes, footprint."""

from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from soakline.section.earthworks import Earthworks, earthworks
from soakline.section.footprint import Footprint, footprint, mounded_reaches, only_area
from soakline.section.mound import MoundShape
from soakline.section.pegs import Pegs
from soakline.section.trench import Trench, cuttable_slope

# Room for the mound was kept as if at least this share of the lip carried it.
LEAST_MOUNDED_SHARE = 0.8


@dataclass(frozen=True, eq=False, slots=True)
class SwaleWorks:
    """Pegs, volumes and footprint of one swale.

    Parameters
    ----------
    pegs : Pegs
    volumes : Earthworks
    footprint : Footprint
    """

    pegs: Pegs
    volumes: Earthworks
    footprint: Footprint


def works_of(
    pegs: Pegs,
    trench: Trench,
    shape: MoundShape,
    crest_height_m: float,
    head_m: float,
    sills_m: list[tuple[float, float]],
    spoil_factor: float,
) -> SwaleWorks:
    """Ground works along the pegs of one swale.

    Parameters
    ----------
    pegs : Pegs
    trench : Trench
    shape : MoundShape
    crest_height_m : settled crest above the level; 0 where spoil is spread, m
    head_m : over the sills in the check storm, m
    sills_m : stretches of the lip that stay free of the mound, m
    spoil_factor : settled spoil per volume cut

    Returns
    -------
    SwaleWorks
    """
    stations = pegs.stations
    stations = replace(
        stations,
        rise=cuttable_slope(trench, stations.rise),
        fall=np.minimum(stations.fall, 0.9 / shape.batter),
    )
    length = float(stations.along_m[-1])
    mounded = sum(end - start for start, end in mounded_reaches(length, sills_m))
    volumes = earthworks(
        stations,
        trench,
        shape,
        crest_height_m,
        mounded,
        LEAST_MOUNDED_SHARE * length,
        spoil_factor,
    )
    plan = footprint(
        stations, trench, shape, crest_height_m, volumes.crest_width_m, head_m, sills_m
    )
    return SwaleWorks(pegs, volumes, plan)


def without_mound_on(works: SwaleWorks, ground: BaseGeometry) -> SwaleWorks:
    """The same works with the mound kept off some ground; its few litres go on the rest."""
    mound = only_area(shapely.difference(works.footprint.mound, ground))
    return replace(works, footprint=replace(works.footprint, mound=mound))
