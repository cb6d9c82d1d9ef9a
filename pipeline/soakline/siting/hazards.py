"""Steep or slipping ground below a swale, down the way its water takes."""

from dataclasses import dataclass

import numpy as np

from soakline.grid import BoolArray, GroundArray
from soakline.inputs.types import Features
from soakline.siting.excluded import buffered
from soakline.siting.lines import LipLine
from soakline.siting.site import geometry_of
from soakline.siting.stations import stations_along
from soakline.terrain.cells import burn, cells_of
from soakline.terrain.condition import Terrain
from soakline.terrain.paths import way_to_target_m

STEEP_PCT = 20.0
STEEP_AREA_M2 = 500.0
RISK_WAY_M = 100.0
_LANDSLIP_WAY_M = 300.0
_EVERY_M = 5.0
_BAND_CELLS = 1_000_000


@dataclass(frozen=True, eq=False, slots=True)
class GroundBelow:
    """Swales above ground that soaking water may loosen; all (swales,) bool.

    Parameters
    ----------
    steep, landslip : steep ground or a landslip lies down the way
    at_risk : and a building, a track or a neighbour within 100 m of the lip on that way
    """

    steep: BoolArray
    landslip: BoolArray
    at_risk: BoolArray


def steep_patches(slope_pct: GroundArray, cell_area_m2: float) -> BoolArray:
    """Ground of 20 % and more in patches of more than 500 m²."""
    from scipy import ndimage  # noqa: PLC0415 - slow to load, no rerun needs it

    label, count = ndimage.label(slope_pct >= STEEP_PCT)
    size = np.zeros(count + 1, dtype=np.int64)
    # Looked at all at once, every label would be widened to 64 bits.
    band = 1 + max(count, _BAND_CELLS) // label.shape[1]
    for top in range(0, label.shape[0], band):
        size += np.bincount(label[top : top + band].ravel(), minlength=count + 1)
    wide = size * cell_area_m2 > STEEP_AREA_M2
    wide[0] = False
    out = np.empty(label.shape, dtype=bool)
    for top in range(0, label.shape[0], band):
        out[top : top + band] = wide[label[top : top + band]]
    return out


def ground_below(
    lines: list[LipLine],
    terrain: Terrain,
    features: Features,
    property_cells: BoolArray,
    within_m: float,
) -> GroundBelow:
    """What lies down the way from each lip.

    Parameters
    ----------
    lines : LipLine
    terrain : Terrain
    features : Features
    property_cells : (rows, columns) bool; land beyond is a neighbour's
    within_m : steep ground further down the way is not looked at, m

    Returns
    -------
    GroundBelow
    """
    grid = terrain.grid
    none = np.zeros(len(lines), dtype=bool)
    if not lines:
        return GroundBelow(none, none.copy(), none.copy())
    own = [stations_along(line.coordinates, _EVERY_M) for line in lines]
    index = np.repeat(np.arange(len(lines)), [s.along_m.size for s in own])
    cell = cells_of(
        grid,
        np.concatenate([s.easting_m for s in own]),
        np.concatenate([s.northing_m for s in own]),
    )
    direction = terrain.flow.direction

    def reaches(target: BoolArray, limit_m: float) -> BoolArray:
        if not target.any():
            return np.zeros(cell.size, dtype=bool)
        return np.isfinite(way_to_target_m(direction, cell, target, grid.cell_m, limit_m))

    steep = reaches(steep_patches(terrain.slope_pct, grid.cell_area_m2), within_m)
    slips = reaches(burn(geometry_of(features.landslip), grid, all_touched=True), _LANDSLIP_WAY_M)
    tracks = features.tracks
    half = np.maximum(tracks["width_m"].astype(float).fillna(0.0).to_numpy() / 2.0, 0.5)
    exposed = burn(geometry_of(features.buildings), grid, all_touched=True) | ~property_cells
    exposed |= burn(buffered(geometry_of(tracks), half), grid, all_touched=True)
    risk = (steep | slips) & reaches(exposed, RISK_WAY_M)

    def by_swale(flag: BoolArray) -> BoolArray:
        return np.bincount(index[flag], minlength=len(lines)) > 0

    return GroundBelow(by_swale(steep), by_swale(slips), by_swale(risk))
