"""Diversions in one step: drawn drains and hard surfaces in, drains and catchments out."""

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd

from soakline.diversions.catchments import Diverted, Surface, divert
from soakline.diversions.digging import Digging
from soakline.diversions.diversion import Diversion
from soakline.diversions.given import given_diversions
from soakline.diversions.surfaces import drain_surfaces
from soakline.findings import Finding
from soakline.siting.catchments import Catchments
from soakline.terrain.cells import GeometryArray


@dataclass(frozen=True, eq=False, slots=True)
class Diversions:
    """All drains of a plan, and what they change.

    Parameters
    ----------
    drains : given ones in the order of their features, then traced ones
    surfaces : hard surfaces and where their water goes
    diverted : catchments with the drains in the ground
    findings : what was found on the way
    """

    drains: tuple[Diversion, ...]
    surfaces: tuple[Surface, ...]
    diverted: Diverted
    findings: tuple[Finding, ...]


def lay_diversions(
    diversions: gpd.GeoDataFrame,
    hard_surfaces: gpd.GeoDataFrame,
    lips: Catchments,
    digging: Digging,
) -> Diversions:
    """Drains and hard surfaces of a features file, drained to the swales.

    Parameters
    ----------
    diversions : column name
    hard_surfaces : columns name and swale_id
    lips : Catchments of the lips alone
    digging : lips, terrain and what drains are traced with

    Returns
    -------
    Diversions; a feature without a name is called by its number in the file
    """
    terrain = digging.terrain
    given, on_lines = given_diversions(
        _shapes(diversions), _names(diversions), digging.lines, lips, terrain
    )
    surfaces, drains, on_surfaces = drain_surfaces(
        _shapes(hard_surfaces),
        _names(hard_surfaces),
        [None if pd.isna(named) else str(named).strip() for named in hard_surfaces["swale_id"]],
        lips,
        given,
        digging,
    )
    direction, valid = terrain.flow.direction, terrain.valid
    diverted = divert(lips, drains, surfaces, direction, valid, terrain.grid)
    return Diversions(drains, surfaces, diverted, (*on_lines, *on_surfaces))


def _shapes(layer: gpd.GeoDataFrame) -> GeometryArray:
    return np.asarray(layer.geometry.array, dtype=object)


def _names(layer: gpd.GeoDataFrame) -> list[str]:
    return [
        f"feature {row + 1}" if pd.isna(name) else str(name)
        for row, name in enumerate(layer["name"])
    ]
