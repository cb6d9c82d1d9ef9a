"""The property's boundary: any polygons, one valid area, on ground that the DEM covers."""

from pathlib import Path

import numpy as np
import shapely
from pyproj import CRS
from rasterio.features import rasterize
from shapely import MultiPolygon

from soakline.findings import Finding
from soakline.inputs.transforms import moved_corner
from soakline.inputs.types import Elevation, Property
from soakline.inputs.vector_files import (
    extent,
    geometry_kinds,
    layer_names,
    mend,
    read_layer,
    to_working,
)
from soakline.problems import InputProblem, InputRefused, printable

BOUNDARY_KEY = "property.boundary"
LEAST_COVER_PCT = 99.0
SPECK_M2 = 0.01
"""Smaller parts are left by rounding where edges cross, not by a surveyor."""
BAND_ROWS = 2048


def read_boundary(
    path: Path, layer: str, name: str, working_crs: CRS | None
) -> tuple[Property, tuple[Finding, ...]]:
    """Read the boundary as one area.

    Parameters
    ----------
    path : vector file
    layer : its layer; the first if empty
    name : of the property; the file's own name if empty
    working_crs : projected, metres; None leaves the geometry where it is (nothing else is known)

    Returns
    -------
    The property in the working CRS, and a note `boundary_mended` where geometry was mended.

    Raises
    ------
    InputRefused
        If file or layer are missing, empty, without CRS, or hold anything but polygons.
    """
    file = str(path)
    layers = layer_names(path, BOUNDARY_KEY)
    if layer and layer not in layers:
        allowed = "one of " + ", ".join(f'"{n}"' for n in layers)
        problem = InputProblem(file, "property.boundary_layer", f'"{layer}"', allowed)
        raise InputRefused([problem])
    if not layers:
        raise InputRefused([InputProblem(file, BOUNDARY_KEY, "no layer", "polygons")])
    frame, _ = read_layer(path, layer or next(iter(layers)), BOUNDARY_KEY)
    shapes = frame.geometry.to_numpy()
    frame = frame[~(shapely.is_missing(shapes) | shapely.is_empty(shapes))]
    if frame.empty:
        raise InputRefused([InputProblem(file, BOUNDARY_KEY, "no polygon", "polygons")])
    kinds = geometry_kinds(frame.geometry.to_numpy())
    wrong = sorted({kind for kind in kinds if kind != "polygon"})
    if wrong:
        count = sum(kind != "polygon" for kind in kinds)
        found = f"{count} of {len(kinds)} features of type {', '.join(wrong)}"
        mend_by = "Name the layer that holds the boundary's polygons in property.boundary_layer."
        raise InputRefused([InputProblem(file, BOUNDARY_KEY, found, "polygons", mend_by)])
    if working_crs is not None:
        frame = to_working(frame, working_crs, file, BOUNDARY_KEY)
    area, findings = _one_area(frame.geometry.to_numpy())
    if area.is_empty:
        found = "polygons without area"
        raise InputRefused([InputProblem(file, BOUNDARY_KEY, found, "polygons with an area")])
    return Property(printable(name or path.stem), area), findings


def _one_area(shapes: np.ndarray) -> tuple[MultiPolygon, tuple[Finding, ...]]:
    """Unite polygons; what had to be mended is told."""
    before_m2 = float(shapely.area(shapes).sum())
    result = mend(shapes, dimension=2)
    united = shapely.union_all([s for s in result.shapes if s is not None])
    parts = [p for p in shapely.get_parts(united) if p.geom_type == "Polygon" and p.area > SPECK_M2]
    # A fixed order of parts and vertices: two runs of one input must be alike to the bit.
    area = shapely.normalize(MultiPolygon(parts))
    change_m2 = area.area - before_m2
    mended = int(result.mended.sum())
    overlapping = abs(change_m2) > max(1.0, 1e-6 * before_m2)
    if not mended and not overlapping:
        return area, ()
    what = f"{mended} of {len(shapes)} polygons crossed or touched themselves" if mended else ""
    if not mended:
        what = f"{len(shapes)} polygons overlap"
    message = (
        f"The boundary was mended: {what}; it has {len(parts)} parts and {area.area:.1f} m2 now, "
        f"{change_m2:+.1f} m2."
    )
    advice = "Compare the layer `property` with the land; correct the boundary if it is not that."
    return area, (Finding("boundary_mended", "note", "property", "", message, advice),)


def check_cover(
    property_: Property, elevation: Elevation, file: str
) -> tuple[Property, tuple[Finding, ...]]:
    """Check that the property lies on cells that have a height.

    Parameters
    ----------
    property_ : in the working CRS
    elevation : the DEM
    file : the boundary's file, for problems

    Returns
    -------
    The property with its `covered_pct`; and a caution `boundary_not_covered` if that is under 100.

    Raises
    ------
    InputRefused
        If under 99 % of the area is covered, or none.
    """
    bounds = elevation.grid.bounds
    on_grid_m2 = property_.area.intersection(shapely.box(*bounds)).area
    if on_grid_m2 == 0.0:
        found = f"a boundary at {extent(property_.area.bounds)}, outside the DEM"
        allowed = f"a boundary on the DEM, {extent(bounds)}"
        mend_by = "Check that both files are of this property and that their CRS are right."
        raise InputRefused([InputProblem(file, BOUNDARY_KEY, found, allowed, mend_by)])
    share = on_grid_m2 / property_.area.area * _valid_share(property_.area, elevation)
    covered_pct = 100.0 * share
    # Rounding of an intersection is no gap.
    if covered_pct >= 100.0 - 1e-7:
        return Property(property_.name, property_.area, 100.0), ()
    if covered_pct < LEAST_COVER_PCT:
        found = f"{covered_pct:.2f} % of the property on valid DEM cells"
        allowed = f"at least {LEAST_COVER_PCT:g} %"
        mend_by = (
            "Use a DEM that covers the whole property, fill its nodata, or draw the boundary "
            f"inside it. Boundary: {extent(property_.area.bounds)}; DEM: {extent(bounds)}."
        )
        raise InputRefused([InputProblem(file, BOUNDARY_KEY, found, allowed, mend_by)])
    finding = Finding(
        "boundary_not_covered",
        "caution",
        "property",
        "",
        f"{covered_pct:.2f} % of the property lies on valid DEM cells; nothing is planned on the "
        "rest.",
        "Look where the DEM has gaps: water from there is not counted.",
    )
    return Property(property_.name, property_.area, covered_pct), (finding,)


def _valid_share(area: MultiPolygon, elevation: Elevation) -> float:
    """Share of the area's cells on the grid that have a height, 0 to 1."""
    grid = elevation.grid
    west, south, east, north = area.bounds
    first = max(int((grid.north_m - north) // grid.cell_m), 0)
    last = min(int((grid.north_m - south) // grid.cell_m) + 1, grid.rows)
    left = max(int((west - grid.west_m) // grid.cell_m), 0)
    right = min(int((east - grid.west_m) // grid.cell_m) + 1, grid.columns)
    # A garden narrower than a cell holds no cell centre: then every cell it touches counts.
    for all_touched in (False, True):
        inside = valid = 0
        for top in range(first, last, BAND_ROWS):
            band = elevation.dem_m[top : min(top + BAND_ROWS, last), left:right]
            mask = rasterize(
                [(area, 1)],
                out_shape=band.shape,
                transform=moved_corner(grid.transform, left, top),
                all_touched=all_touched,
                dtype="uint8",
            ).view(np.bool_)
            inside += int(np.count_nonzero(mask))
            valid += int(np.count_nonzero(np.isfinite(band) & mask))
        if inside:
            return valid / inside
    return 0.0
