"""The plan's own DEM: found, checked by its SHA-256, and the ground on it at places."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import rasterio
from rasterio.merge import merge

from soakline.problems import InputProblem, InputRefused
from soakline.verify.line import FloatArray
from soakline.verify.reading import Plan

_AT_ONCE = 20_000
_BEYOND = 4  # cells off the DEM that a place is taken to be away at most: there is nothing there
_DOWN, _RIGHT = (np.array(steps)[:, None] for steps in ((0, 0, 1, 1), (0, 1, 0, 1)))


@dataclass(frozen=True, eq=False, slots=True)
class Dem:
    """Heights as read.

    Parameters
    ----------
    height_m : (rows, columns) float32, m; NaN where there is none
    west_m, north_m, cell_m : place of the north-western corner and side of the square cells, m
    smoothing_m : diameter over which the ground is the mean of cells, m
    source : which file, in words
    allowed : what it was held to, in words
    """

    height_m: npt.NDArray[np.float32]
    west_m: float
    north_m: float
    cell_m: float
    smoothing_m: float
    source: str
    allowed: str

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east, north, m."""
        rows, columns = self.height_m.shape
        south = self.north_m - rows * self.cell_m
        return self.west_m, south, self.west_m + columns * self.cell_m, self.north_m

    def cells(self, places: FloatArray) -> FloatArray:
        """Fractional rows and columns of (n, 2) places; whole at centres of cells."""
        column = (places[:, 0] - self.west_m) / self.cell_m - 0.5
        row = (self.north_m - places[:, 1]) / self.cell_m - 0.5
        return np.stack([row, column])

    def ground(self, places: FloatArray) -> FloatArray:
        """Ground at (n, 2) places, m; NaN off the DEM.

        Each cell is the mean of the cells whose centres lie within `smoothing_m` / 2; bilinear
        between cells (method, section 1). Means are taken where they are asked for only.
        """
        parts = [self._ground(places[i : i + _AT_ONCE]) for i in range(0, len(places), _AT_ONCE)]
        return np.concatenate(parts) if parts else np.empty(0)

    def _ground(self, places: FloatArray) -> FloatArray:
        row, column = np.clip(
            self.cells(places), -_BEYOND + 1, np.array(self.height_m.shape)[:, None] + _BEYOND - 2
        )
        top, left = np.floor(row), np.floor(column)
        down, right = row - top, column - left
        rows, columns = top.astype(int) + _DOWN, left.astype(int) + _RIGHT
        # Neighbouring places share most of their corners: each cell's mean is taken once.
        wide = self.height_m.shape[1] + 2 * _BEYOND
        codes, which = np.unique((rows + _BEYOND) * wide + columns + _BEYOND, return_inverse=True)
        mean = self._mean(codes // wide - _BEYOND, codes % wide - _BEYOND)
        weight = np.where(_DOWN == 1, down, 1.0 - down) * np.where(_RIGHT == 1, right, 1.0 - right)
        total: FloatArray = np.where(
            weight > 0.0, weight * mean[which.reshape(weight.shape)], 0.0
        ).sum(axis=0)
        return total

    def _mean(self, row: npt.NDArray[np.int64], column: npt.NDArray[np.int64]) -> FloatArray:
        rows, columns = self.height_m.shape
        reach = 0 if self.cell_m >= 5.0 else int(self.smoothing_m / 2.0 / self.cell_m + 1e-9)
        steps = range(-reach, reach + 1)
        total, count = np.zeros(len(row)), np.zeros(len(row))
        limit = (self.smoothing_m / 2.0 / self.cell_m) ** 2 + 1e-9
        own = np.full(len(row), np.nan)
        for down in steps:
            for right in steps:
                if down * down + right * right > max(limit, 1e-9):
                    continue
                r, c = row + down, column + right
                inside = (r >= 0) & (r < rows) & (c >= 0) & (c < columns)
                value = np.full(len(row), np.nan)
                value[inside] = self.height_m[r[inside], c[inside]]
                valid = ~np.isnan(value)
                total[valid] += value[valid]
                count += valid
                if down == right == 0:
                    own = value
        mean = np.divide(total, count, out=np.full(len(row), np.nan), where=count > 0)
        return np.where(np.isnan(own), np.nan, mean)


def find_dem(plan: Plan, given: Sequence[Path]) -> Dem:
    """The DEM of a plan.

    Parameters
    ----------
    plan : Plan
    given : files to take; else those on record, beside the plan, else the plan's own coverage

    Raises
    ------
    InputRefused
        If it is not there, is another file than the plan was made from, or cannot be read.
    """
    recorded = [value.rsplit(" sha256=", 1) for value in plan.record.get("input:dem", ())]
    recorded = [pair for pair in recorded if len(pair) == 2]
    paths = list(given) or [plan.path.parent / name for name, _ in recorded]
    lost = [path for path in paths if not path.is_file()]
    if given and lost:
        raise _refused(lost[0], "no such file")
    if not paths or lost:
        named = lost[0].name if lost else "no DEM on record"
        why = f"{named} is not beside it" if lost else named
        return _coverage(plan, lost, why)
    found = sorted(_sha256(path) for path in paths)
    if found != sorted(digest for _, digest in recorded):
        raise _refused(paths[0], "another file than the plan was made from (other SHA-256)")
    try:
        return _read(plan, paths)
    except rasterio.errors.RasterioError as error:
        raise _refused(paths[0], f"not readable: {error}") from None


def _refused(path: Path, found: str) -> InputRefused:
    allowed = "the DEM that run_record of the plan names, unchanged"
    return InputRefused([InputProblem(str(path), "", found, allowed, "name it with --dem FILE")])


def _sha256(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _read(plan: Plan, paths: list[Path]) -> Dem:
    with rasterio.open(paths[0]) as first:
        crs, place = first.crs, first.transform
    metres = plan.record.get("property.vertical_unit", ("m",))[0] == "m"
    wanted = rasterio.crs.CRS.from_wkt(plan.record["crs"][0])
    same = crs is not None and (crs == wanted or crs.to_epsg() == wanted.to_epsg() is not None)
    if not (same and metres and place.b == place.d == 0.0 and np.isclose(place.a, -place.e)):
        # Warped or turned into metres before planning: the coverage holds what came of it.
        return _coverage(plan, paths, "the DEM was warped, or its heights turned into metres")
    if len(paths) == 1:
        with rasterio.open(paths[0]) as source:
            height = source.read(1, masked=True).astype(np.float32).filled(np.nan)
    else:
        whole, place = merge(paths, nodata=np.nan, dtype="float32")
        height = whole[0]
    return _dem(plan, height, place, ", ".join(path.name for path in paths))


def _coverage(plan: Plan, lost: list[Path], why: str) -> Dem:
    """The elevation model that the plan itself holds, since the DEM on record cannot serve."""
    try:
        with rasterio.open(f"GPKG:{plan.path.absolute()}:elevation") as source:
            height = source.read(1, masked=True).astype(np.float32).filled(np.nan)
            found = f"coverage elevation of the plan itself: {why}"
            return _dem(plan, height, source.transform, found, "a DEM; no SHA-256 to hold it to")
    except rasterio.errors.RasterioError:
        named = lost[0] if lost else plan.path
        raise _refused(named, "no such file, and no elevation in the plan") from None


def _dem(
    plan: Plan,
    height: npt.NDArray[np.float32],
    place: rasterio.Affine,
    source: str,
    allowed: str = "the file on record, by its SHA-256",
) -> Dem:
    smoothing = plan.setting("terrain.smoothing_m", 5.0)
    return Dem(height, place.c, place.f, place.a, smoothing, source, allowed)
