"""Roofs and paving as given: where the water of each leaves it, and which swale is named for it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from soakline.diversions.diversion import NONE
from soakline.findings import Finding
from soakline.grid import FloatArray
from soakline.terrain.cells import GeometryArray
from soakline.terrain.condition import Terrain
from soakline.terrain.ground import sample


@dataclass(frozen=True, eq=False, slots=True)
class Outlet:
    """A hard surface and the place where its water leaves it.

    Parameters
    ----------
    name : of the feature
    shape : polygon
    place : (3,) lowest place of its outline, easting, northing and ground, m
    wanted : index of the swale that is named for it; `NONE` where none is
    """

    name: str
    shape: BaseGeometry
    place: FloatArray
    wanted: int


def lowest_of_rim(shape: BaseGeometry, terrain: Terrain) -> FloatArray | None:
    """Lowest ground along a polygon's outline.

    Returns
    -------
    (3,) easting, northing and ground, m; None where the outline lies off the DEM's valid cells
    """
    rim = shapely.segmentize(shapely.boundary(shape), terrain.grid.cell_m / 2.0)
    places = shapely.get_coordinates(rim)
    ground = sample(terrain.ground_m, terrain.grid, places[:, 0], places[:, 1])
    if np.isnan(ground).all():
        return None
    lowest = int(np.nanargmin(ground))
    return np.array([*places[lowest], ground[lowest]])


def outlets_of(
    shapes: GeometryArray,
    names: Sequence[str],
    swale_ids: Sequence[str | None],
    there: Sequence[str],
    terrain: Terrain,
) -> tuple[list[Outlet], list[Finding]]:
    """Outlets of hard surfaces that lie on the DEM; and findings on the others.

    Parameters
    ----------
    shapes : (n,) polygons, or None; each part of several is a surface of its own
    names : (n,)
    swale_ids : (n,) id of the swale that is named, None for any
    there : ids of the swales, in their order
    terrain : Terrain
    """
    numbers = {own: i for i, own in enumerate(there)}
    outlets: list[Outlet] = []
    findings: list[Finding] = []
    for name, shape, named in zip(names, shapes, swale_ids, strict=True):
        if named is not None and named not in numbers:
            findings.append(_unknown(name, named, there))
        wanted = NONE if named is None else numbers.get(named, NONE)
        whole = () if shape is None else tuple(shapely.get_parts(shape))
        parts = [part for part in whole if shapely.area(part) > 0.0]
        if not parts:
            findings.append(_without_area(name))
        for part in parts:
            place = lowest_of_rim(part, terrain)
            if place is None:
                # What lies wholly beyond the DEM was told when it was read.
                if shapely.intersects(shape, shapely.box(*terrain.grid.bounds)):
                    findings.append(_off_dem(name))
            else:
                outlets.append(Outlet(name, part, place, wanted))
    return outlets, findings


def _caution(code: str, name: str, message: str, advice: str) -> Finding:
    whole = f"Hard surface {name} {message}"
    return Finding(code, "caution", "hard_surfaces", name, whole, advice)


def _unknown(name: str, named: str, there: Sequence[str]) -> Finding:
    ids = f"{there[0]} to {there[-1]}, or empty" if there else "empty, as none is"
    message = f"names swale {named}, which is not in the plan; allowed is {ids}. Any is taken."
    advice = "Name a swale of this plan: ids change where terrain or siting inputs do."
    return _caution("hard_surface_swale_unknown", name, message, advice)


def _without_area(name: str) -> Finding:
    message = "has no area and was left out; a polygon is allowed."
    return _caution("feature_without_geometry", name, message, "Draw or delete it.")


def _off_dem(name: str) -> Finding:
    message = "lies off the DEM's valid cells and has no effect."
    return _caution("feature_off_dem", name, message, "Check its place and CRS.")
