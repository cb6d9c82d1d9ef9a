"""Closed-form ground: height functions and the DEMs sampled from them.

A height function takes eastings and northings (m, in the CRS, any shape) and gives heights (m).
Every form is centred on (`CENTRE_EASTING_M`, `CENTRE_NORTHING_M`), and so is every DEM that
`sample` makes, so that a test can ask for the true height at any place of a finished plan.

Aspects are downslope, clockwise from north, degrees. Slopes are percent.
"""

from collections.abc import Callable

import numpy as np
from rasterio.crs import CRS

from soakline.grid import FloatArray, Grid, GroundArray

Height = Callable[[FloatArray, FloatArray], FloatArray]

EPSG = 32755
CENTRE_EASTING_M = 600_000.0
CENTRE_NORTHING_M = 6_000_000.0
CENTRE_HEIGHT_M = 400.0
ODD_ANGLE_DEG = 33.0  # no symmetry with rows, columns or diagonals


def from_centre(easting: FloatArray, northing: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Distances east and north of the centre, m."""
    east_m = np.asarray(easting, dtype=np.float64) - CENTRE_EASTING_M
    north_m = np.asarray(northing, dtype=np.float64) - CENTRE_NORTHING_M
    return east_m, north_m


def rotated(height: Height, angle_deg: float) -> Height:
    """Turn a form about the centre, clockwise as seen on a map.

    Parameters
    ----------
    height : the form to turn
    angle_deg : degrees clockwise; a plane of aspect 180 turned by 33 has aspect 213
    """
    cosine, sine = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))

    def turned(easting: FloatArray, northing: FloatArray) -> FloatArray:
        east_m, north_m = from_centre(easting, northing)
        # the place is turned back, anticlockwise, on to the form as it was
        return height(
            CENTRE_EASTING_M + east_m * cosine - north_m * sine,
            CENTRE_NORTHING_M + east_m * sine + north_m * cosine,
        )

    return turned


def plane(slope_pct: float, aspect_deg: float = 180.0, centre_m: float = CENTRE_HEIGHT_M) -> Height:
    """A tilted plane that falls towards `aspect_deg`."""
    fall_east = float(np.sin(np.radians(aspect_deg))) * slope_pct / 100.0
    fall_north = float(np.cos(np.radians(aspect_deg))) * slope_pct / 100.0

    def height(easting: FloatArray, northing: FloatArray) -> FloatArray:
        east_m, north_m = from_centre(easting, northing)
        return centre_m - fall_east * east_m - fall_north * north_m

    return height


def cone(slope_pct: float, top_m: float = CENTRE_HEIGHT_M) -> Height:
    """A cone with its tip at the centre; level lines are circles, water runs along radii."""

    def height(easting: FloatArray, northing: FloatArray) -> FloatArray:
        return top_m - slope_pct / 100.0 * np.hypot(*from_centre(easting, northing))

    return height


def dome(radius_of_curvature_m: float, top_m: float = CENTRE_HEIGHT_M) -> Height:
    """A paraboloid: z = top − r² / (2 R), so the slope grows evenly as 100 r / R percent."""

    def height(easting: FloatArray, northing: FloatArray) -> FloatArray:
        east_m, north_m = from_centre(easting, northing)
        return top_m - (east_m**2 + north_m**2) / (2.0 * radius_of_curvature_m)

    return height


def ring_hill(
    height_m: float,
    spread_m: float,
    base_slope_pct: float = 0.0,
    base_aspect_deg: float = 180.0,
    base_m: float = CENTRE_HEIGHT_M,
) -> Height:
    """A round hill on a tilted plane: level lines near its top are closed rings.

    Parameters
    ----------
    height_m : of the hill above the plane, at the centre
    spread_m : distance at which exp(−1/2) of that height is left; steepest there
    base_slope_pct, base_aspect_deg : of the plane that it stands on
    base_m : elevation of the plane at the centre
    """
    base = plane(base_slope_pct, base_aspect_deg, base_m)

    def height(easting: FloatArray, northing: FloatArray) -> FloatArray:
        east_m, north_m = from_centre(easting, northing)
        rise_m = height_m * np.exp(-(east_m**2 + north_m**2) / (2.0 * spread_m**2))
        return base(easting, northing) + rise_m

    return height


def v_valley(
    side_slope_pct: float,
    axis_slope_pct: float,
    rounding_m: float = 0.0,
    axis_m: float = CENTRE_HEIGHT_M,
) -> Height:
    """Two planes that meet along a straight axis falling south.

    Parameters
    ----------
    side_slope_pct : fall across, towards the axis
    axis_slope_pct : fall along the axis, southwards
    rounding_m : half-width over which the bottom is rounded (a hyperbola); 0 is a sharp V
    axis_m : elevation of the axis at the centre, before rounding
    """

    def height(easting: FloatArray, northing: FloatArray) -> FloatArray:
        east_m, north_m = from_centre(easting, northing)
        across_m = np.hypot(east_m, rounding_m) - rounding_m
        return axis_m + side_slope_pct / 100.0 * across_m + axis_slope_pct / 100.0 * north_m

    return height


def spur(
    side_slope_pct: float,
    axis_slope_pct: float,
    rounding_m: float = 15.0,
    axis_m: float = CENTRE_HEIGHT_M,
) -> Height:
    """A ridge whose crest falls south: a V-valley turned upside down, crest rounded by default."""

    def height(easting: FloatArray, northing: FloatArray) -> FloatArray:
        east_m, north_m = from_centre(easting, northing)
        across_m = np.hypot(east_m, rounding_m) - rounding_m
        return axis_m - side_slope_pct / 100.0 * across_m + axis_slope_pct / 100.0 * north_m

    return height


def saddle(
    height_m: float,
    spread_m: float,
    apart_m: float,
    base_slope_pct: float = 0.0,
    base_aspect_deg: float = 180.0,
    base_m: float = CENTRE_HEIGHT_M,
) -> Height:
    """Two round hills east and west of the centre; the pass between them is the saddle.

    Parameters
    ----------
    height_m, spread_m : of each hill, as in `ring_hill`
    apart_m : between the two tops; over 2 `spread_m`, else they are one hill
    base_slope_pct, base_aspect_deg, base_m : the plane below
    """
    base = plane(base_slope_pct, base_aspect_deg, base_m)

    def height(easting: FloatArray, northing: FloatArray) -> FloatArray:
        east_m, north_m = from_centre(easting, northing)
        rise_m = np.zeros_like(east_m)
        for top_east_m in (-apart_m / 2.0, apart_m / 2.0):
            squared = (east_m - top_east_m) ** 2 + north_m**2
            rise_m = rise_m + height_m * np.exp(-squared / (2.0 * spread_m**2))
        return base(easting, northing) + rise_m

    return height


def hollow(outer: Height, depth_m: float, radius_m: float, east_m: float, north_m: float) -> Height:
    """Another form with a round bowl cut into it.

    Parameters
    ----------
    outer : the form to cut
    depth_m : at the middle of the bowl; it must outdo the slope to hold water
    radius_m : of the bowl's rim
    east_m, north_m : of the bowl's middle, from the centre
    """

    def height(easting: FloatArray, northing: FloatArray) -> FloatArray:
        east, north = from_centre(easting, northing)
        squared = ((east - east_m) ** 2 + (north - north_m) ** 2) / radius_m**2
        return outer(easting, northing) - depth_m * np.clip(1.0 - squared, 0.0, None)

    return height


def centred_grid(width_m: float, height_m: float, cell_m: float = 1.0) -> Grid:
    """A grid about the centre; the centre is a cell corner where the counts are even."""
    columns, rows = round(width_m / cell_m), round(height_m / cell_m)
    return Grid(
        rows=rows,
        columns=columns,
        west_m=CENTRE_EASTING_M - columns * cell_m / 2.0,
        north_m=CENTRE_NORTHING_M + rows * cell_m / 2.0,
        cell_m=cell_m,
        crs_wkt=CRS.from_epsg(EPSG).to_wkt(),
    )


def sample(
    height: Height,
    *,
    width_m: float = 400.0,
    height_m: float | None = None,
    cell_m: float = 1.0,
    noise_m: float = 0.0,
    seed: int = 1,
    rotation_deg: float = 0.0,
) -> tuple[GroundArray, Grid]:
    """Sample a form at the cell centres of a DEM about the centre.

    Parameters
    ----------
    height : the form
    width_m, height_m : size of the DEM, east-west and north-south; square if only one is given
    cell_m : side of a cell
    noise_m : standard deviation of independent normal errors, m
    seed : of those errors
    rotation_deg : turns the form, not the grid; see `rotated`

    Returns
    -------
    dem_m : (rows, columns) float32, m
    grid : Grid
    """
    grid = centred_grid(width_m, width_m if height_m is None else height_m, cell_m)
    row, column = np.meshgrid(
        np.arange(grid.rows, dtype=np.float64),
        np.arange(grid.columns, dtype=np.float64),
        indexing="ij",
    )
    easting, northing = grid.easting_northing(row, column)
    form = rotated(height, rotation_deg) if rotation_deg else height
    dem_m = form(easting, northing)
    if noise_m:
        dem_m = dem_m + np.random.default_rng(seed).normal(0.0, noise_m, grid.shape)
    return dem_m.astype(np.float32), grid
