"""Volumes dug and heaped along a lip, and the crest that the spoil makes."""

from dataclasses import dataclass

import numpy as np

from soakline.grid import FloatArray
from soakline.section.footprint import LipStations
from soakline.section.mound import MoundShape, crest_width_for_m, section_area_m2
from soakline.section.trench import Trench, cut_area_m2, face_height_m


@dataclass(frozen=True, eq=False, slots=True)
class Earthworks:
    """Ground works of one swale.

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

    cut_m3: float
    fill_m3: float
    crest_width_m: float
    short_m3: float
    surplus_m3: float
    face_height_m: float
    wedge_m2: float


def average_end_area_m3(along_m: FloatArray, area_m2: FloatArray) -> float:
    """Volume between sections: the mean of neighbouring areas times the distance between them."""
    return float(np.sum(np.diff(along_m) * (area_m2[1:] + area_m2[:-1]) / 2.0))


def end_batter_m3(trench: Trench, cut_area: FloatArray) -> float:
    """Ground left standing at the two battered ends of the trench.

    The ends slope in from the lip's ends at the trench's own batter, so the full section begins m d
    further in; what stays is the prism's share of that slope.
    """
    prism = float(trench.area_m2)
    kept = prism * 100.0 - float(trench.capacity_m3(100.0))
    return kept * float((cut_area[0] + cut_area[-1]) / (2.0 * prism))


def earthworks(
    stations: LipStations,
    trench: Trench,
    shape: MoundShape,
    crest_height_m: float,
    mounded_m: float,
    least_mounded_m: float,
    spoil_factor: float,
) -> Earthworks:
    """Cut, spoil and crest width of one swale.

    Parameters
    ----------
    stations : LipStations; the pegs, each with its own ground
    trench : Trench
    shape : MoundShape
    crest_height_m : settled crest above the level; 0 where spoil is spread, m
    mounded_m : length of lip that carries the mound, m
    least_mounded_m : length for which room was kept when the line was laid: with less, the crest
        does not grow any wider
    spoil_factor : settled spoil per volume cut

    Returns
    -------
    Earthworks
    """
    area = cut_area_m2(trench, stations.ground_above_m, stations.rise)
    cut = average_end_area_m3(stations.along_m, area) - end_batter_m3(trench, area)
    # Low spots of the lip are made up to the level over the width of the mound's toe.
    made_up = average_end_area_m3(
        stations.along_m, np.maximum(-stations.ground_above_m, 0.0) * shape.least_crest_m
    )
    fill = cut * spoil_factor
    crest = short = surplus = 0.0
    if crest_height_m > 0 and mounded_m > 0:
        slope = np.asarray(float(stations.fall.mean()))
        above = np.asarray(float(stations.ground_above_m.mean()))
        height = np.asarray(crest_height_m)
        crest = float(
            crest_width_for_m(
                shape,
                height,
                np.asarray((fill - made_up) / max(mounded_m, least_mounded_m)),
                above,
                slope,
            )
        )
        surplus = (fill - made_up) * max(0.0, 1.0 - mounded_m / max(mounded_m, least_mounded_m))
        least = float(section_area_m2(shape, height, np.asarray(shape.least_crest_m), above, slope))
        short = max(0.0, least * mounded_m - (fill - made_up))
    return Earthworks(
        cut_m3=cut,
        fill_m3=fill,
        crest_width_m=crest,
        short_m3=short,
        surplus_m3=surplus,
        face_height_m=float(face_height_m(trench, stations.ground_above_m, stations.rise).max()),
        wedge_m2=float(area.mean() - trench.area_m2),
    )
