"""Volumes dug and heaped along lips, and the crest that the spoil makes."""

from dataclasses import dataclass

import numpy as np

from soakline.grid import FloatArray
from soakline.section.cuts import cuts_of
from soakline.section.mound import MoundShape, crest_width_for_m, section_area_m2
from soakline.section.stations import Chainages, LipStations
from soakline.section.trench import Trenches


@dataclass(frozen=True, eq=False, slots=True)
class Earthworks:
    """Ground works of every swale; all (swales,).

    Parameters
    ----------
    cut_m3 : bank volume dug, ends battered
    fill_m3 : settled volume of spoil on the downhill side, made-up lip included
    crest_width_m : of the mound, widened by what is beyond the least section; 0 where spread
    short_m3 : settled spoil that the least mound lacks; 0 where there is enough
    surplus_m3 : settled spoil that finds no room on the mound within the reach kept free for it
    face_height_m : highest cut face
    wedge_m2 : mean area of the wedge above the water's prism, per metre
    """

    cut_m3: FloatArray
    fill_m3: FloatArray
    crest_width_m: FloatArray
    short_m3: FloatArray
    surplus_m3: FloatArray
    face_height_m: FloatArray
    wedge_m2: FloatArray


def average_end_area_m3(at: Chainages, area_m2: FloatArray) -> FloatArray:
    """Volume between sections: the mean of neighbouring areas times the distance between them.

    Parameters
    ----------
    at : Chainages of n sections
    area_m2 : (n,)

    Returns
    -------
    (lips,) m³
    """
    between = np.zeros_like(area_m2)
    between[:-1] = np.diff(at.along_m) * (area_m2[1:] + area_m2[:-1]) / 2.0
    between[at.start[1:] - 1] = 0.0
    return np.add.reduceat(between, at.start[:-1])


def end_batter_m3(
    trench: Trenches, first_cut_m2: FloatArray, last_cut_m2: FloatArray
) -> FloatArray:
    """Ground left standing at the two battered ends of each trench, (swales,) m³.

    The ends slope in from the lip's ends at the trench's own batter, so the full section begins m d
    further in; what stays is the prism's share of that slope.
    """
    prism = trench.area_m2
    kept = prism * 100.0 - trench.capacity_m3(100.0)
    return kept * (first_cut_m2 + last_cut_m2) / (2.0 * prism)


def earthworks(
    stations: LipStations,
    trench: Trenches,
    shape: MoundShape,
    crest_height_m: FloatArray,
    mounded_m: FloatArray,
    least_mounded_m: FloatArray,
    spoil_factor: float,
) -> Earthworks:
    """Cut, spoil and crest width of every swale.

    Parameters
    ----------
    stations : LipStations; the pegs, each with its own ground
    trench : (swales,) Trenches
    shape : MoundShape
    crest_height_m : (swales,) settled crest above the level; 0 where spoil is spread, m
    mounded_m : (swales,) length of lip that carries the mound, m
    least_mounded_m : (swales,) length for which room was kept when the line was laid: with less,
        the crest does not grow any wider
    spoil_factor : settled spoil per volume cut

    Returns
    -------
    Earthworks
    """
    own = trench.take(stations.at.lip)
    dug = cuts_of(own, stations.uphill_m)
    area = dug.area_m2
    ends = end_batter_m3(trench, area[stations.first], area[stations.last])
    cut = average_end_area_m3(stations.at, area) - ends
    # Low spots of the lip are made up to the level over the width of the mound's toe.
    made_up = average_end_area_m3(
        stations.at, np.maximum(-stations.ground_above_m, 0.0) * shape.least_crest_m
    )
    fill = cut * spoil_factor
    heaped = fill - made_up
    stands = (crest_height_m > 0) & (mounded_m > 0)
    slope, above = stations.mean(stations.fall), stations.mean(stations.ground_above_m)
    room = np.maximum(mounded_m, least_mounded_m)
    crest = crest_width_for_m(shape, crest_height_m, heaped / room, above, slope)
    least = section_area_m2(
        shape, crest_height_m, np.full_like(slope, shape.least_crest_m), above, slope
    )
    return Earthworks(
        cut_m3=cut,
        fill_m3=fill,
        crest_width_m=np.where(stands, crest, 0.0),
        short_m3=np.where(stands, np.maximum(0.0, least * mounded_m - heaped), 0.0),
        surplus_m3=np.where(stands, heaped * np.maximum(0.0, 1.0 - mounded_m / room), 0.0),
        face_height_m=np.maximum.reduceat(dug.face_height_m, stations.first),
        wedge_m2=stations.mean(area) - trench.area_m2,
    )
