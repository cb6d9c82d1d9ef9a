"""The DEM: from files to one array of heights in m on a north-up grid of square cells."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
from pyproj import CRS

from soakline.findings import Finding
from soakline.grid import Grid, GroundArray
from soakline.inputs.mosaic import Layout, Tally, lay_out, read_mosaic
from soakline.inputs.raster_files import DEM_KEY, Tile, read_headers
from soakline.inputs.transforms import applied
from soakline.inputs.types import Elevation
from soakline.inputs.warp import as_is, flips, warp, warped_grid, why_warped
from soakline.inputs.working_crs import (
    crs_name,
    height_unit_m,
    horizontal,
    is_metric,
    local_utm,
    same_crs,
    scale_finding,
)
from soakline.problems import InputProblem, InputRefused

VerticalUnit = Literal["m", "ft", "us-ft"]
VERTICAL_UNIT_M = {"m": 1.0, "ft": 0.3048, "us-ft": 1200.0 / 3937.0}
LOWEST_M, HIGHEST_M = -500.0, 9000.0
LEAST_CELLS = 3
INDICATIVE_CELL_M, NO_PEGS_CELL_M = 5.0, 10.0
_METRE_WORDS = frozenset({"m", "metre", "metres", "meter", "meters"})
_FOOT_WORDS = frozenset({"ft", "foot", "feet", "us survey foot", "us-ft", "ftus"})


@dataclass(frozen=True, slots=True)
class ElevationPlan:
    """What will be read, known from the headers alone.

    Parameters
    ----------
    layout : the tiles on their own grid
    grid : the working grid
    warped : heights are interpolated on to `grid`; else every cell is taken as it is
    findings : what the headers already tell
    """

    layout: Layout
    grid: Grid
    warped: bool
    findings: tuple[Finding, ...]


def plan_elevation(paths: Sequence[Path], working_crs: CRS | None) -> ElevationPlan:
    """Read the headers and settle the working grid.

    Parameters
    ----------
    paths : the DEM's files
    working_crs : projected, metres; None for the DEM's own, or its UTM zone if that is not metric

    Raises
    ------
    InputRefused
        If a file cannot be used, or files do not share CRS, cell size and grid.
    """
    tiles = read_headers(paths)
    layout = lay_out(tiles)
    own = horizontal(layout.crs)
    if min(layout.rows, layout.columns) < LEAST_CELLS:
        found = f"{layout.rows} x {layout.columns} cells"
        allowed = f"at least {LEAST_CELLS} x {LEAST_CELLS} cells"
        raise InputRefused([InputProblem(_file(tiles), DEM_KEY, found, allowed)])
    middle = applied(layout.transform, layout.columns / 2, layout.rows / 2)
    if working_crs is None:
        working_crs = own if is_metric(own) else local_utm(own, *middle)
    findings: list[Finding] = []
    if same_crs(own, working_crs) and as_is(layout.transform):
        grid, warped = _own_grid(layout, own), False
        if flips(layout.transform) != (False, False):
            findings.append(
                _note("dem_turned", "The DEM's rows or columns ran the other way; turned north-up.")
            )
    else:
        grid, warped = warped_grid(layout, own, working_crs, _file(tiles)), True
        findings.append(
            _note(
                "dem_warped",
                f"The DEM was interpolated (bilinear) to {crs_name(working_crs)}, cells of "
                f"{grid.cell_m:g} m: {why_warped(layout, own, working_crs)}.",
                "Heights between cells are interpolated; a DEM already in this CRS keeps its own.",
            )
        )
    findings += _cell_size(grid.cell_m)
    west, south, east, north = grid.bounds
    scale = scale_finding(working_crs, (west + east) / 2, (south + north) / 2)
    return ElevationPlan(layout, grid, warped, (*findings, *([scale] if scale else [])))


def read_elevation(
    plan: ElevationPlan, vertical_unit: VerticalUnit = "m"
) -> tuple[Elevation, tuple[Finding, ...]]:
    """Read the cells.

    Parameters
    ----------
    plan : from `plan_elevation`
    vertical_unit : unit of the heights in the files

    Returns
    -------
    The DEM on the working grid, its array read-only; and the findings, those of the plan first.

    Raises
    ------
    InputRefused
        If a file is damaged, holds no valid cell, the same height everywhere, or absurd heights.
    """
    tiles = tuple(tile for tile, _, _ in plan.layout.tiles)
    dem_m, tally = read_mosaic(plan.layout, VERTICAL_UNIT_M[vertical_unit])
    _check_heights(tally, _file(tiles), vertical_unit)
    if plan.warped:
        dem_m = warp(dem_m, plan.layout, plan.grid)
        if not np.isfinite(dem_m).any():
            found = "no valid cell after warping"
            allowed = "a DEM with heights in the working CRS"
            raise InputRefused([InputProblem(_file(tiles), DEM_KEY, found, allowed)])
    else:
        _turn_north_up(dem_m, *flips(plan.layout.transform))
    dem_m.flags.writeable = False
    findings = (*plan.findings, *_tally_findings(tally), *_unit_findings(tiles, vertical_unit))
    return Elevation(plan.grid, dem_m), findings


def _file(tiles: Sequence[Tile]) -> str:
    first = str(tiles[0].path)
    return first if len(tiles) == 1 else f"{first} and {len(tiles) - 1} more"


def _note(code: str, message: str, advice: str = "") -> Finding:
    return Finding(code, "note", "elevation", "", message, advice)


def _caution(code: str, message: str, advice: str) -> Finding:
    return Finding(code, "caution", "elevation", "", message, advice)


def _own_grid(layout: Layout, crs: CRS) -> Grid:
    """Grid of an unrotated metric DEM, its corner the north-western whichever way it was stored."""
    t = layout.transform
    west = min(t.c, t.c + t.a * layout.columns)
    north = max(t.f, t.f + t.e * layout.rows)
    return Grid(layout.rows, layout.columns, west, north, abs(t.a), crs.to_wkt())


def _turn_north_up(dem_m: GroundArray, columns_flipped: bool, rows_flipped: bool) -> None:
    """Turn the array in place: a second copy would double the peak of memory."""
    if rows_flipped:
        for row in range(dem_m.shape[0] // 2):
            kept = dem_m[row].copy()
            dem_m[row] = dem_m[-1 - row]
            dem_m[-1 - row] = kept
    if columns_flipped:
        for row in range(dem_m.shape[0]):
            dem_m[row] = dem_m[row, ::-1].copy()


def _check_heights(tally: Tally, file: str, vertical_unit: str) -> None:
    if tally.valid == 0:
        found = "no valid cell (all are nodata, NaN or infinite)"
        raise InputRefused([InputProblem(file, DEM_KEY, found, "a DEM with heights")])
    low, high = tally.lowest_m, tally.highest_m
    if low < LOWEST_M or high > HIGHEST_M:
        found = f"heights from {low:.6g} to {high:.6g} m"
        allowed = f"heights from {LOWEST_M:g} to {HIGHEST_M:g} m"
        mend = (
            "A figure that stands for no data may not be declared as nodata, or the unit is not "
            f'property.vertical_unit = "{vertical_unit}".'
        )
        raise InputRefused([InputProblem(file, DEM_KEY, found, allowed, mend)])
    if low == high:
        found = f"the same height, {low:g} m, in every valid cell"
        raise InputRefused([InputProblem(file, DEM_KEY, found, "ground with a slope to plan on")])


def _cell_size(cell_m: float) -> list[Finding]:
    findings = []
    if cell_m > INDICATIVE_CELL_M:
        findings.append(
            _caution(
                "indicative",
                f"Cells of {cell_m:g} m are coarser than {INDICATIVE_CELL_M:g} m: the plan is "
                "indicative, good for deciding whether and where, not for digging.",
                "Survey the chosen slopes, or use a DEM of 1 m cells, before setting out.",
            )
        )
    if cell_m > NO_PEGS_CELL_M:
        findings.append(
            _caution(
                "no_pegs",
                f"Cells of {cell_m:g} m are coarser than {NO_PEGS_CELL_M:g} m: no pegs are given.",
                "Find the level lines with an instrument on site.",
            )
        )
    return findings


def _tally_findings(tally: Tally) -> list[Finding]:
    findings = []
    if tally.infinite:
        findings.append(
            _caution(
                "dem_infinite",
                f"{tally.infinite} cells of the DEM are infinite; taken as having no height.",
                "Ask whoever made the DEM: such cells come from a faulty computation.",
            )
        )
    if tally.differing:
        share = 100.0 * tally.differing / tally.overlapping
        named = ", ".join(sorted(tally.files)[:5])
        findings.append(
            _caution(
                "tiles_differ",
                f"Where tiles overlap, {share:.1f} % of {tally.overlapping} cells differ from the "
                f"tile given before, by up to {tally.greatest_difference_m:.3f} m ({named}); the "
                "tile given first holds.",
                "Differences over the DEM's accuracy leave a step along the seam: give tiles of "
                "one survey.",
            )
        )
    return findings


def _unit_findings(tiles: Sequence[Tile], vertical_unit: str) -> list[Finding]:
    """Caution where a file says that its heights are in another unit than the run file has it."""
    used_m = VERTICAL_UNIT_M[vertical_unit]
    for tile in tiles:
        stated_m = height_unit_m(tile.crs)
        if tile.height_unit in _METRE_WORDS:
            stated_m = 1.0
        elif tile.height_unit in _FOOT_WORDS:
            stated_m = VERTICAL_UNIT_M["ft"]
        # The two feet differ by 2 parts in a million: that is no reason for a warning.
        if stated_m is not None and not math.isclose(stated_m, used_m, rel_tol=1e-4):
            return [
                _caution(
                    "vertical_unit_differs",
                    f"{tile.path.name} states a unit of height of {stated_m:g} m, the run file's "
                    f'property.vertical_unit is "{vertical_unit}" ({used_m:.4f} m). The run file '
                    "holds.",
                    "Compare one height with a known one: a wrong unit makes slopes three times "
                    "too steep or too gentle.",
                )
            ]
    return []
