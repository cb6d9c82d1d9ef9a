"""Siting in one step: conditioned ground and features in, lips with their catchments out."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import shapely

from soakline.findings import Finding
from soakline.grid import BoolArray
from soakline.inputs.types import Features, Inputs, Property
from soakline.runfile.sections import SitingKeys, SpacingKeys
from soakline.section.reach import FootprintReach
from soakline.siting.catchments import Catchments, catchments_of
from soakline.siting.crossings import TrackMeetings, meet_tracks
from soakline.siting.ends import EndMap, end_map
from soakline.siting.excluded import (
    ExcludedGround,
    buffered,
    excluded_ground,
)
from soakline.siting.exits import (
    FORBIDDEN,
    TRACK,
    Exits,
    WayGround,
    find_exits,
    lip_places,
    lip_stations,
)
from soakline.siting.given import GivenLips
from soakline.siting.lines import LipLine, PlacingLimits
from soakline.siting.place import place_lines
from soakline.siting.room import roomy_ground
from soakline.siting.spacing import level_series
from soakline.siting.stations import OPEN, Siteable, siteable_beside, siteable_ground
from soakline.siting.ways_down import LipPlaces
from soakline.terrain.cells import GeometryArray, burn, cells_of
from soakline.terrain.condition import Terrain
from soakline.terrain.flow import Uint8Array

# Ways of water keep off these, with their setbacks; other exclusions only limit where swales stand.
_FORBIDDEN_TO_WATER = ("building", "septic", "well", "landslip", "saline", "protected")
_SMALL_PROPERTY_M2 = 10_000.0


@dataclass(frozen=True, eq=False, slots=True)
class Site:
    """Where swales may lie on a property.

    Parameters
    ----------
    excluded : ExcludedGround
    siteable : Siteable
    marks : (rows, columns) uint8; ground that ways of water may not pass, and tracks
    limits : PlacingLimits
    allowed_m2 : property less all excluded ground
    """

    excluded: ExcludedGround
    siteable: Siteable
    marks: Uint8Array
    limits: PlacingLimits
    allowed_m2: float


@dataclass(frozen=True, eq=False, slots=True)
class Placed:
    """Lips on the ground and where their water comes from and may go.

    Parameters
    ----------
    lines : highest first
    catchments : Catchments of the lines
    end_map : EndMap
    places : LipPlaces
    exits : where they could spill
    tracks : TrackMeetings
    """

    lines: list[LipLine]
    catchments: Catchments
    end_map: EndMap
    places: LipPlaces
    exits: Exits
    tracks: TrackMeetings

    @property
    def ids(self) -> list[str]:
        """Id of each swale."""
        return [line.swale_id for line in self.lines]


def geometry_of(layer: gpd.GeoDataFrame) -> GeometryArray:
    """Geometries of a frame as an object array."""
    return np.asarray(layer.geometry.array, dtype=object)


def survey_site(
    terrain: Terrain,
    land: Property,
    features: Features,
    keys: SitingKeys,
    depth_m: float,
    reach: FootprintReach,
) -> Site:
    """Excluded ground and all that placing needs to ask of it.

    Parameters
    ----------
    terrain : Terrain
    land : Property
    features : Features
    keys : the run file's `[siting]`
    depth_m : of the trench, m
    reach : FootprintReach

    Returns
    -------
    Site
    """
    grid = terrain.grid
    excluded = excluded_ground(
        land.area,
        features,
        terrain.drainage_line,
        kept_surface(terrain),
        terrain.slope_pct,
        terrain.flow.direction,
        grid,
        keys.setback_m,
        keys.max_slope_pct,
        depth_m,
        keys.cross_tracks,
    )
    siteable = siteable_ground(excluded, terrain.slope_pct, keys.max_slope_pct, reach, grid)
    forbidden = np.array([reason in _FORBIDDEN_TO_WATER for reason in excluded.polygon_reason])
    marks = np.zeros(grid.shape, np.uint8)
    marks[burn(excluded.polygons[forbidden.astype(bool)], grid, all_touched=True)] |= FORBIDDEN
    tracks = features.tracks
    half = np.maximum(tracks["width_m"].astype(float).fillna(0.0).to_numpy() / 2.0, 0.1)
    marks[burn(buffered(geometry_of(tracks), half), grid, all_touched=True)] |= TRACK
    small = shapely.area(land.area) < _SMALL_PROPERTY_M2
    least = keys.min_length_m or (3.0 if small else 20.0)
    limits = PlacingLimits(least, keys.max_length_m, keys.gap_limit_m, keys.ground_tolerance_m)
    taken = sum(area for _, _, area in excluded.parts)
    return Site(excluded, siteable, marks, limits, float(shapely.area(land.area)) - taken)


def kept_surface(terrain: Terrain) -> BoolArray:
    """Water surface of the kept hollows, (rows, columns)."""
    surface = np.zeros(terrain.grid.shape, dtype=bool)
    for hollow in np.flatnonzero(terrain.hollows.kept).tolist():
        surface.ravel()[terrain.hollows.of(hollow)] = True
    return surface


def toe_at_m(line: LipLine, siteable: Siteable) -> float:
    """Widest room kept for the mound along a lip, m."""
    _, downhill = siteable.reach_at(line.coordinates[:, 0], line.coordinates[:, 1])
    return float(downhill.max())


def ways_from(lines: list[LipLine], terrain: Terrain, site: Site, inputs: Inputs) -> Placed:
    """Catchments, ends and exits of lips.

    Parameters
    ----------
    lines : LipLine, in the order of their numbers
    others : as for placing

    Returns
    -------
    Placed
    """
    grid, features = terrain.grid, inputs.features
    catchments = catchments_of(
        [line.coordinates for line in lines], terrain.flow.direction, terrain.valid, grid
    )
    ends = end_map(
        catchments.burnt,
        len(lines),
        [
            np.concatenate([cells_of(grid, line.easting_m, line.northing_m), line.beside])
            for line in terrain.drainage
        ],
        geometry_of(features.dams),
        terrain.hollows,
        geometry_of(features.safe_points),
        inputs.property.area,
        terrain.flow.direction,
        grid,
    )
    clear = np.array([toe_at_m(line, site.siteable) for line in lines], dtype=float)
    tracks = meet_tracks(lines, features.tracks)
    stations = lip_stations(lines)
    ground = WayGround(
        lip_places(lines, stations, clear, grid),
        catchments.burnt,
        ends,
        terrain.flow.direction,
        site.marks,
        grid,
    )
    exits = find_exits(lines, stations, ground, terrain.ground_m, tracks.spans(len(lines)))
    return Placed(lines, catchments, ends, ground.places, exits, tracks)


def site_beside(site: Site, given: GivenLips) -> Site:
    """The site as the rule's own lines find it: given swales and the room about them are taken."""
    siteable = siteable_beside(site.siteable, given.works(site.siteable))
    return replace(site, siteable=siteable, excluded=siteable.excluded)


def place(
    terrain: Terrain,
    site: Site,
    features: Features,
    spacing: SpacingKeys,
    interval_m: float,
    given: GivenLips,
    radius_m: float,
) -> list[LipLine]:
    """Lips by the spacing rule, whatever drains to them.

    Parameters
    ----------
    terrain : Terrain
    site : Site
    features : planting blocks carry their own tree height
    spacing : the run file's `[spacing]`
    interval_m : vertical interval outside the blocks, m
    given : swales that are there: levels run from theirs, and lines keep the interval from them
    radius_m : least that lines may bend by, where the ground tolerance allows it, m

    Returns
    -------
    lips of the rule alone, highest first
    """
    series = level_series(
        terrain.ground_m,
        terrain.slope_pct,
        terrain.flow.direction,
        site.siteable.state == OPEN,
        roomy_ground(site.siteable, terrain.ground_m),
        terrain.grid,
        interval_m,
        interval_m / spacing.mature_tree_height_m,
        features,
        spacing.max_spacing_m,
        given,
    )
    return place_lines(series, site.siteable, terrain.ground_m, site.limits, given, radius_m)


def left_out(fed: BoolArray, spills: BoolArray, least_m2: float) -> Iterator[Finding]:
    """Notes on the lips that are left out.

    Parameters
    ----------
    fed, spills : (lines,) bool; enough drains to it, and water can leave it over a sill
    least_m2 : m²
    """
    if not fed.all():
        yield Finding(
            "small_catchment",
            "note",
            "swales",
            "",
            f"{int((~fed).sum())} pieces of level line were left out: less than {least_m2:g} m² "
            "drains to each",
            "lower siting.min_catchment_m2 to keep them",
        )
    if not spills.all():
        yield Finding(
            "no_place_for_sill",
            "note",
            "swales",
            "",
            f"{int((~spills).sum())} pieces of level line were left out: nowhere along them does "
            "the ground lie at the level and fall away, so that they could not spill",
            "most lie round shallow hollows or on steps of the DEM: look at them on site, or draw "
            "them as given_swales",
        )
