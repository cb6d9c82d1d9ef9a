"""Cut faces at ponds, basins and pits, and those that people stand before."""

import numpy as np

from soakline.grid import FloatArray
from soakline.section.points import SwalePoints


def deepest_face_m(points: SwalePoints, layer_m: FloatArray) -> FloatArray:
    """Highest cut face at each while it is dug, (n,) m.

    Parameters
    ----------
    points : SwalePoints
    layer_m : (swales,) thickness of what is filled in below each base, m

    Returns
    -------
    m; a basin is dug as much deeper as its swale's base, ponds and pits are deeper than any layer
    """
    below = np.where(points.kind == "basin", layer_m[points.lip], 0.0)
    return np.asarray(points.face_m + below, dtype=float)


def with_open_faces_m(face_m: FloatArray, points: SwalePoints, layer_m: FloatArray) -> FloatArray:
    """Highest cut face that people stand before, ponds and basins included, (swales,) m.

    A pit is filled on the day on which it is dug, from the lip: nobody stands in it.

    Parameters
    ----------
    face_m : (swales,) of the trench, what is dug below its base included, m
    points, layer_m : as in `deepest_face_m`
    """
    stays = points.kind != "organic_pit"
    face = face_m.copy()
    np.maximum.at(face, points.lip[stays], deepest_face_m(points, layer_m)[stays])
    return face
