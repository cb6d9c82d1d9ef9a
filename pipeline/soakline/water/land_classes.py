"""From the layers of covers, soils and hard surfaces to classes of ground."""

from collections.abc import Hashable
from dataclasses import dataclass
from typing import TypeVar

import geopandas as gpd
import numba
import numpy as np

from soakline.findings import Finding
from soakline.grid import BoolArray, Grid
from soakline.runfile.sections import LandKeys
from soakline.terrain.kinds import KindArray, burn_kinds
from soakline.water.curve_number import curve_number_for
from soakline.water.land import HARD_CURVE_NUMBER, CountArray, GroundClass, Land


@dataclass(frozen=True, slots=True)
class _Cover:
    """What `land_cover` or `hard_surfaces` tells of a place; the default tells nothing."""

    name: str = ""
    curve_number: float = 0.0
    hard: bool = False


@dataclass(frozen=True, slots=True)
class _Soil:
    """What `soils` tells of a place; the default tells nothing."""

    group: str = ""
    texture: str = ""


_HARD = _Cover(hard=True)
_Told = TypeVar("_Told", bound=Hashable)


def land_of(
    keys: LandKeys,
    texture: str,
    soils: gpd.GeoDataFrame,
    land_cover: gpd.GeoDataFrame,
    hard_surfaces: gpd.GeoDataFrame,
    property_cells: BoolArray,
    grid: Grid,
) -> tuple[Land, tuple[Finding, ...]]:
    """Classes of ground from the features, and from the run file where they tell nothing.

    Parameters
    ----------
    keys, texture : the run file's `[land]`, and its texture from `[soil]`
    soils, land_cover, hard_surfaces : features layers, in the spelling of the tables; without rows
        where they are not given
    property_cells : (rows, columns) bool
    grid : Grid

    Returns
    -------
    the land, and a note `land_not_covered` on the share of the property for which layers of covers
    and soils are given but no curve number follows from them

    Raises
    ------
    ValueError
        If a cover lies on a hydrologic group for which no curve number is published, which reading
        has refused before.

    Notes
    -----
    Curve number of a place: that of its `land_cover` polygon; else the table's for its cover and
    hydrologic group, one of which may be the run file's; else the run file's. Where polygons of a
    layer overlap the later one holds. Hard surfaces go over all.
    """
    covers = [
        *map(_cover, land_cover["cover"], land_cover["curve_number"]),
        *[_HARD] * len(hard_surfaces),
    ]
    beds = list(map(_soil, soils["hydrologic_group"], soils["texture"]))
    cover_kinds, cover = _burnt(covers, _Cover(), [land_cover, hard_surfaces], grid)
    soil_kinds, soil = _burnt(beds, _Soil(), [soils], grid)
    if len(cover_kinds) == len(soil_kinds) == 1:
        return Land((_ground_class(_Cover(), _Soil(), keys, texture)[0],)), ()
    cells, within = _count_pairs(cover, soil, property_cells, len(cover_kinds), len(soil_kinds))
    classes: dict[GroundClass, int] = {}
    class_of = np.zeros(cells.shape, dtype=np.int64)
    fallen_back = np.zeros(cells.shape, dtype=bool)
    for at in zip(*np.nonzero(cells), strict=True):
        own, told = _ground_class(cover_kinds[at[0]], soil_kinds[at[1]], keys, texture)
        class_of[at] = classes.setdefault(own, len(classes))
        fallen_back[at] = not told
    index = None
    if len(classes) > 1:
        index = _classes_at(cover, soil, class_of.astype(np.min_scalar_type(len(classes) - 1)))
    if not set(cover_kinds[1:]) - {_HARD} and len(soil_kinds) == 1:
        return Land(tuple(classes), index), ()
    return Land(tuple(classes), index), _not_covered(within, fallen_back, keys, texture)


def _cover(name: object, number: float) -> _Cover:
    return _Cover(_text(name), 0.0 if np.isnan(number) else float(number))


def _soil(group: object, texture: object) -> _Soil:
    return _Soil(_text(group), _text(texture))


def _text(value: object) -> str:
    return value if isinstance(value, str) else ""


def _burnt(
    told: list[_Told], nothing: _Told, layers: list[gpd.GeoDataFrame], grid: Grid
) -> tuple[list[_Told], KindArray]:
    """Every different thing told, `nothing` the first, and where which of them holds."""
    kinds: list[_Told] = list(dict.fromkeys([nothing, *told]))
    number = {kind: i for i, kind in enumerate(kinds)}
    shapes = np.concatenate([np.asarray(own.geometry.array, dtype=object) for own in layers])
    kind = np.array([number[own] for own in told], dtype=np.int64)
    return kinds, burn_kinds(shapes, kind, grid)


@numba.njit(cache=True, nogil=True)
def _count_pairs(
    cover: KindArray, soil: KindArray, within: BoolArray, covers: int, soils: int
) -> tuple[CountArray, CountArray]:
    """Cells of each pair of kinds, (covers, soils): all of them, and those within."""
    cells = np.zeros((covers, soils), np.int64)
    inside = np.zeros((covers, soils), np.int64)
    for row in range(cover.shape[0]):
        for column in range(cover.shape[1]):
            cells[cover[row, column], soil[row, column]] += 1
            inside[cover[row, column], soil[row, column]] += within[row, column]
    return cells, inside


@numba.njit(cache=True, nogil=True)
def _classes_at(cover: KindArray, soil: KindArray, class_of: KindArray) -> KindArray:
    """Class of each cell by its two kinds."""
    index = np.empty(cover.shape, class_of.dtype)
    for row in range(cover.shape[0]):
        for column in range(cover.shape[1]):
            index[row, column] = class_of[cover[row, column], soil[row, column]]
    return index


def _ground_class(
    cover: _Cover, soil: _Soil, keys: LandKeys, texture: str
) -> tuple[GroundClass, bool]:
    """Class of a place, and whether its cover and soil, or the run file's, suffice for it."""
    bed = soil.texture or texture
    if cover.hard:
        return GroundClass("hard surface", HARD_CURVE_NUMBER, texture, hard=True), True
    if cover.curve_number:
        number = cover.curve_number
        return GroundClass(f"curve number {number:g}, {bed}", number, bed), True
    name, group = cover.name or keys.cover, soil.group or keys.hydrologic_group
    if name and group:
        number = curve_number_for(name, group)
        return GroundClass(f"{name}, group {group}, {bed}", number, bed), True
    number = keys.curve_number
    return GroundClass(f"curve number {number:g}, {bed}", number, bed), False


def _not_covered(
    within: CountArray, fallen_back: BoolArray, keys: LandKeys, texture: str
) -> tuple[Finding, ...]:
    """A note on land that takes the run file's curve number though layers were given."""
    percent = 100.0 / max(int(within.sum()), 1)
    nothing = float(within[0, 0]) * percent
    half_told = fallen_back.copy()
    half_told[0, 0] = False
    too_little = float(within[half_told].sum()) * percent
    parts = []
    if nothing > 0.0:
        parts.append(f"{_share(nothing)} of the property has neither land_cover nor soils")
    if too_little > 0.0:
        parts.append(
            f"on {_share(too_little)} they give no curve number: a cover wants a hydrologic group"
        )
    if not parts:
        return ()
    stands = (
        f"{keys.cover} on group {keys.hydrologic_group}" if keys.cover else "[land] of the run file"
    )
    message = (
        f"{'; '.join(parts)}. There the run file stands in: {stands}, curve number "
        f"{keys.curve_number:g}, and {texture} where no texture is given."
    )
    advice = "Draw both layers over all land that drains to swales, or set [land] for the rest."
    return (Finding("land_not_covered", "note", "property", "", message, advice),)


def _share(percent: float) -> str:
    return "under 0.1 %" if percent < 0.1 else f"{percent:.3g} %"
