"""The CRS that the plan is made in: projected, metres, and true to scale where the land lies."""

import warnings
from typing import Any

from pyproj import CRS, Proj, Transformer
from pyproj.aoi import AreaOfInterest
from pyproj.database import query_utm_crs_info
from pyproj.exceptions import CRSError, ProjError

from soakline.findings import Finding
from soakline.problems import InputProblem, InputRefused

WORKING_CRS_ALLOWED = 'a projected CRS with metres as its unit, for example "EPSG:32755"'
SCALE_TOLERANCE = 0.002
"""Five times the scale error that a UTM zone has at its worst: beyond it, metres are not metres."""


def horizontal(crs: CRS) -> CRS:
    """Drop heights from a compound or three-dimensional CRS and shifts from a bound one.

    Examples
    --------
    >>> horizontal(CRS.from_user_input("EPSG:25832+5783")).to_epsg()
    25832
    """
    if crs.is_bound and crs.source_crs is not None:
        crs = crs.source_crs
    if crs.is_compound:
        crs = crs.sub_crs_list[0]
    flat = crs.to_2d() if len(crs.axis_info) > 2 else crs
    # A registered CRS reads back from every file as itself; free WKT is renamed by each program.
    code = flat.to_epsg()
    return CRS.from_epsg(code) if code else flat


def is_metric(crs: CRS) -> bool:
    """Tell whether a CRS is projected with the metre as the unit of both axes."""
    return crs.is_projected and all(a.unit_conversion_factor == 1.0 for a in crs.axis_info[:2])


def same_crs(first: CRS, second: CRS) -> bool:
    """Tell whether two CRS place the same figures at the same spot, heights left aside."""
    return horizontal(first).equals(horizontal(second), ignore_axis_order=True)


def crs_name(crs: CRS) -> str:
    """Name of a CRS with its code, as a person would look it up."""
    code = crs.to_epsg()
    return f"{crs.name} (EPSG:{code})" if code else str(crs.name)


def height_unit_m(crs: CRS) -> float | None:
    """Length of the CRS's own unit of height, m; None where it says nothing of heights."""
    for axis in crs.axis_info:
        if axis.direction == "up":
            return float(axis.unit_conversion_factor)
    return None


def crs_from_file(given: Any, file: str, key: str) -> CRS:
    """Turn what a file says of its CRS into a CRS that has a place on the earth.

    Parameters
    ----------
    given : WKT or a code; None or empty where the file says nothing
    file, key : what a problem names

    Raises
    ------
    InputRefused
        Without a CRS, or with one that is tied to no place (a local or engineering CRS).
    """
    allowed = "a file whose CRS is known (projected or geographic)"
    if not given:
        mend = "Assign the CRS that it was made in with a GIS, then run again."
        raise InputRefused([InputProblem(file, key, "no CRS", allowed, mend)])
    try:
        crs = CRS.from_user_input(given)
    except CRSError:
        raise InputRefused([InputProblem(file, key, "a CRS not understood", allowed)]) from None
    if not (horizontal(crs).is_projected or horizontal(crs).is_geographic):
        found = f"the CRS {crs.name}, tied to no place on the earth"
        raise InputRefused([InputProblem(file, key, found, allowed)])
    return crs


def read_crs_key(text: str, file: str, key: str = "property.crs") -> CRS | None:
    """Read the run file's `crs` key; None where it is empty.

    Raises
    ------
    InputRefused
        If it is not understood, not projected, or not in metres.
    """
    if not text.strip():
        return None
    try:
        crs = CRS.from_user_input(text)
    except CRSError:
        problem = InputProblem(file, key, f'"{text}", not known as a CRS', WORKING_CRS_ALLOWED)
        raise InputRefused([problem]) from None
    crs = horizontal(crs)
    if not is_metric(crs):
        unit = crs.axis_info[0].unit_name if crs.axis_info else "no axes"
        kind = "projected" if crs.is_projected else "not projected"
        found = f'"{text}", {kind}, unit {unit}'
        mend = "Leave the key empty for the DEM's own CRS or its UTM zone."
        raise InputRefused([InputProblem(file, key, found, WORKING_CRS_ALLOWED, mend)])
    return crs


def local_utm(crs: CRS, x: float, y: float) -> CRS:
    """UTM zone of a place, on the CRS's own datum where that has UTM zones, else on WGS 84.

    Parameters
    ----------
    crs : CRS of the place
    x, y : easting or longitude, northing or latitude

    Examples
    --------
    >>> local_utm(CRS.from_epsg(4326), 148.5, -35.2).to_epsg()
    32755
    """
    longitude, latitude = Transformer.from_crs(crs, 4326, always_xy=True).transform(x, y)
    # Staying on the datum keeps the warp free of a datum shift, whose grid may not be installed.
    datum = crs.geodetic_crs.name if crs.geodetic_crs is not None else "WGS 84"
    here = AreaOfInterest(longitude, latitude, longitude, latitude)
    for zone in query_utm_crs_info(datum_name=datum, area_of_interest=here, contains=True):
        candidate = CRS.from_epsg(int(zone.code))
        if is_metric(candidate) and "(" not in zone.name:
            return candidate
    number = min(int((longitude + 180) // 6) + 1, 60)
    return CRS.from_epsg((32700 if latitude < 0 else 32600) + number)


def scale_finding(crs: CRS, easting: float, northing: float) -> Finding | None:
    """Caution where a metre of the working CRS is not a metre on the ground.

    Parameters
    ----------
    crs : projected, metres
    easting, northing : m, the middle of the DEM

    Notes
    -----
    Web Mercator at 45 degrees draws the land 1.41 times too long: every length, area and volume
    would be wrong without a word.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)
            proj = Proj(crs)
        longitude, latitude = proj(easting, northing, inverse=True, errcheck=True)
        scale = proj.get_factors(longitude, latitude, errcheck=True).areal_scale ** 0.5
    except ProjError:
        return None
    if abs(scale - 1.0) <= SCALE_TOLERANCE:
        return None
    return Finding(
        "crs_scale",
        "caution",
        "elevation",
        "",
        f"In {crs_name(crs)} a length drawn as 1 m is {1 / scale:.4f} m on this land: lengths, "
        "areas and volumes of this plan are off by as much.",
        'Set property.crs to the UTM zone or the national grid of the place, or leave "" with a '
        "DEM in one of them.",
    )
