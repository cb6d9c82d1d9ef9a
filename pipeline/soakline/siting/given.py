"""Swales that are given: kept where they lie, and what the rule's own lines keep from them."""

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry import LineString

from soakline.findings import Finding
from soakline.grid import BoolArray, FloatArray, Grid, GroundArray
from soakline.inputs.types import IndexArray
from soakline.section.trench import STEEPEST_BATTER_SLOPE, Trench, daylight_m
from soakline.siting.band import AIM_M
from soakline.siting.lines import END_GAP_M, LipLine, evenly
from soakline.siting.stations import Siteable, Stations, quads, stations_along, uphill_is_left
from soakline.terrain.cells import GeometryArray
from soakline.terrain.ground import sample

# Between footprints, as between those of the rule's own lines.
_APART_M = 1.0
# Distance at which a line on the same slope is looked for, as spacing is measured.
_MOST_INTERVALS = 1.5
# Levels one interval apart may miss it by a rounding.
_SAME_LEVEL_M = 0.001
# Levels that miss a series of levels by less belong to it.
_SAME_SERIES_M = 0.05
_SAMPLE_M = 0.5
# A peg stands at every vertex: closer ones are drawn with fewer, no farther off than a peg is set.
_DENSE_M, _SIMPLIFIED_M = 1.0, 0.02


@dataclass(frozen=True, eq=False, slots=True)
class GivenLips:
    """Lips of given swales on the slopes that they stand on.

    Parameters
    ----------
    lips : in the order of the features file
    drainage : drainage lines; beyond one lies another slope
    """

    lips: tuple[LipLine, ...]
    drainage: GeometryArray

    def too_close(
        self, lines: list[LipLine], index: IndexArray, stations: Stations, siteable: Siteable
    ) -> BoolArray:
        """Stations of lines that stand less than the line's interval above or below a given swale.

        Parameters
        ----------
        lines : laid by the rule
        index : (n,) line of each station
        stations : of all lines, one line after the other
        siteable : Siteable

        Returns
        -------
        (n,) bool; looked for straight up and down the slope, this side of any drainage line
        """
        close = np.zeros(index.size, dtype=bool)
        if not self.lips:
            return close
        interval = np.array([line.interval_m for line in lines])
        level = np.array([line.level_m for line in lines])
        slope = np.maximum(_mean_slope(index, stations, siteable), 0.002)
        reach = (_MOST_INTERVALS * interval / slope)[index]
        across = shapely.linestrings(
            np.stack([_beside(stations, -reach), _beside(stations, reach)], axis=1)
        )
        shapes = _shapes(self.lips)
        own, other = shapely.STRtree(shapes).query(across, predicate="intersects")
        rise = np.array([lip.level_m for lip in self.lips])[other] - level[index[own]]
        near = np.abs(rise) < interval[index[own]] - _SAME_LEVEL_M
        own, other = own[near], other[near]
        if self.drainage.size and own.size:
            places = shapely.points(stations.easting_m[own], stations.northing_m[own])
            straight = shapely.shortest_line(places, shapes[other])
            beyond, _ = shapely.STRtree(self.drainage).query(straight, predicate="intersects")
            own = np.delete(own, np.unique(beyond))
        close[own] = True
        return close

    def works(self, siteable: Siteable) -> GeometryArray:
        """Ground that the swales take, with what footprints and the ends of lips keep from it."""
        ground = np.empty(len(self.lips), dtype=object)
        for k, lip in enumerate(self.lips):
            stations = stations_along(lip.coordinates)
            uphill, downhill = siteable.reach_at(stations.easting_m, stations.northing_m)
            if lip.section is not None:
                slope = siteable.slope_at(stations.easting_m, stations.northing_m) / 100.0
                uphill = np.maximum(uphill, _cut_m(lip.section, slope))
            strips = shapely.buffer(quads(stations, uphill, downhill), _APART_M)
            ends = shapely.buffer(shapely.linestrings(lip.coordinates), END_GAP_M)
            ground[k] = shapely.union_all([*strips, ends])
        return ground

    def level_of(self, group: int, interval_m: float) -> float | None:
        """Level that a part of the land's levels run from; None where no swale is given there.

        Of levels that belong to different series, that of the series that most length of lip has;
        of series as long, that of the highest lip.
        """
        own = [lip for lip in self.lips if lip.group == group]
        if not own:
            return None
        level = np.array([lip.level_m for lip in own])
        length = np.array([lip.length_m for lip in own])
        off = (level[:, None] - level + interval_m / 2.0) % interval_m - interval_m / 2.0
        shared = (np.abs(off) <= _SAME_SERIES_M) @ length
        return own[max(range(len(own)), key=lambda k: (round(shared[k], 3), level[k]))].level_m


def _cut_m(section: Trench, slope: FloatArray) -> FloatArray:
    """How far uphill a section is cut; on ground too steep for it, as on the steepest it suits."""
    steepest = 0.99 * STEEPEST_BATTER_SLOPE / section.batter
    return daylight_m(section, np.array(AIM_M), np.minimum(slope, steepest))


def _mean_slope(index: IndexArray, stations: Stations, siteable: Siteable) -> FloatArray:
    """Mean slope under each line, rise over run."""
    slope = siteable.slope_at(stations.easting_m, stations.northing_m)
    return np.bincount(index, weights=slope) / np.bincount(index) / 100.0


def _beside(stations: Stations, uphill_m: FloatArray) -> FloatArray:
    return np.column_stack(
        [
            stations.easting_m + uphill_m * stations.left_east,
            stations.northing_m + uphill_m * stations.left_north,
        ]
    )


def _shapes(lips: tuple[LipLine, ...]) -> GeometryArray:
    shapes = np.empty(len(lips), dtype=object)
    shapes[:] = [shapely.linestrings(lip.coordinates) for lip in lips]
    return shapes


def given_lips(
    given: gpd.GeoDataFrame,
    ground_m: GroundArray,
    grid: Grid,
    interval_m: float,
    blocks: gpd.GeoDataFrame,
    interval_factor: float,
    drainage: GeometryArray,
) -> tuple[GivenLips, tuple[Finding, ...]]:
    """Lips along given lines, each kept where it was drawn.

    Parameters
    ----------
    given : the layer `given_swales`
    ground_m : (rows, columns) float32, m
    grid : Grid
    interval_m : vertical interval outside planting blocks, m
    blocks : planting blocks with their own tree height
    interval_factor : interval over tree height in them
    drainage : drainage lines

    Returns
    -------
    the lips, uphill side on the left, and notes on lines that were turned round

    Notes
    -----
    A line without a level of its own takes that of the lowest ground along it: water would leave
    there first. A line with more than one vertex a metre is drawn with fewer, within 0.02 m.
    """
    lips, findings = [], []
    names = given[["swale_id", "state"]].itertuples(index=False)
    figures = given[["level_m", "base_width_m", "depth_m", "batter"]].to_numpy(dtype=float)
    for shape, (own_id, state), (level, *section) in zip(
        given.geometry, names, figures, strict=True
    ):
        line = _with_few_vertices(shape)
        turned = not uphill_is_left(line, ground_m, grid)
        if turned:
            line = line[::-1]
            findings.append(_turned(own_id))
        group, interval = _part_of(shape, interval_m, blocks, interval_factor)
        dug = state == "built" and not np.isnan(section).any()
        lips.append(
            LipLine(
                level_m=lowest_ground_m(line, ground_m, grid) if np.isnan(level) else float(level),
                interval_m=interval,
                coordinates=line,
                closed=False,
                group=group,
                swale_id=own_id,
                state=state,
                section=Trench(*(float(own) for own in section)) if dug else None,
            )
        )
    return GivenLips(tuple(lips), drainage), tuple(findings)


def _with_few_vertices(shape: LineString) -> FloatArray:
    """Vertices of a line; one that has more than one a metre loses those that tell nothing."""
    line = shapely.get_coordinates(shape)
    if len(line) > shape.length / _DENSE_M + 1:
        line = shapely.get_coordinates(shapely.simplify(shape, _SIMPLIFIED_M))
    return line


def lowest_ground_m(line: FloatArray, ground_m: GroundArray, grid: Grid) -> float:
    """Lowest ground along a line, to the millimetre below, m."""
    places = evenly(line, _SAMPLE_M)
    ground = sample(ground_m, grid, places[:, 0], places[:, 1])
    return float(np.floor(np.nanmin(ground) * 1000.0) / 1000.0)


def _part_of(
    shape: LineString, interval_m: float, blocks: gpd.GeoDataFrame, factor: float
) -> tuple[int, float]:
    """Part of the land that the middle of a line lies on, and the interval there, m."""
    middle = shape.interpolate(0.5, normalized=True)
    inside = np.flatnonzero(shapely.intersects(blocks.geometry.to_numpy(), middle))
    if inside.size == 0:
        return 0, interval_m
    first = int(inside[0])
    return first + 1, float(blocks["mature_tree_height_m"].iloc[first]) * factor


def _turned(swale_id: str) -> Finding:
    which = swale_id or "A line without an id"
    return Finding(
        "given_swale_turned",
        "note",
        "given_swales",
        swale_id,
        f"{which} was drawn with its uphill side on the right and was turned round: chainages run "
        "from its other end.",
    )
