"""Makes a large run folder to time the pipeline on.

`python bench/make_terrain.py FOLDER --side 5000` writes a terrain of 5,000 × 5,000 cells of 1 m,
a boundary, a rain table and a run file. Ground comes in bands of rows, so that 10,000 × 10,000
cells need no more memory than a few bands.
"""

import argparse
import sys
import time
from pathlib import Path

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import rasterio
from rasterio.transform import from_origin
from rasterio.windows import Window
from scipy.ndimage import gaussian_filter
from shapely import box

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "fixtures"))

from hill_country import filled_ground, slope_pct, valley_landscape
from make_demo import RAIN

FloatArray = npt.NDArray[np.float64]
GroundArray = npt.NDArray[np.float32]

CRS = "EPSG:32755"
WEST_M, NORTH_M = 600_000.0, 6_000_000.0
BLOCK = 512
COARSE_M = 20.0  # valleys are cut at this size, finer relief is laid over it
MOST_COARSE_CELLS = 520  # a side, for 10 km; larger terrains mirror the same hills
FINE_M = 4.0
MEAN_SLOPE_PCT = 9.0
LOWEST_M = 220.0
NOISE_M = 0.03

RUN_FILE = """\
[property]
name = "benchmark"
dem = "dem.tif"
boundary = "boundary.gpkg"

[rain]
table = "rain.csv"
"""


def make_terrain(
    folder: Path, side: int, *, cell_m: float = 1.0, seed: int = 1, compress: str = ""
) -> Path:
    """Write dem.tif, boundary.gpkg, rain.csv and run.toml.

    Parameters
    ----------
    folder : made if it is not there
    side : cells along each side
    cell_m : side of a cell
    seed : of hills, finer relief and noise
    compress : "zstd", or "" for none

    Returns
    -------
    path of run.toml
    """
    folder.mkdir(parents=True, exist_ok=True)
    side_m = side * cell_m
    coarse = coarse_ground(side_m, seed)
    fine = fine_relief(seed)
    profile = {"compress": compress, "predictor": 3} if compress else {}
    with rasterio.open(
        folder / "dem.tif",
        "w",
        driver="GTiff",
        dtype="float32",
        count=1,
        height=side,
        width=side,
        crs=CRS,
        transform=from_origin(WEST_M, NORTH_M, cell_m, cell_m),
        nodata=-9999.0,
        tiled=True,
        blockxsize=BLOCK,
        blockysize=BLOCK,
        bigtiff="IF_SAFER",
        num_threads=2,
        **profile,
    ) as dataset:
        for top in range(0, side, BLOCK):
            rows = min(BLOCK, side - top)
            band = band_of(coarse, fine, top, rows, side, cell_m)
            random = np.random.default_rng((seed, top))
            band += np.float32(NOISE_M) * random.standard_normal(band.shape, dtype=np.float32)
            dataset.write(band, 1, window=Window(0, top, side, rows))
    inset_m = min(100.0, side_m / 20.0)
    outline = box(
        WEST_M + inset_m, NORTH_M - side_m + inset_m, WEST_M + side_m - inset_m, NORTH_M - inset_m
    )
    boundary = gpd.GeoDataFrame({"name": ["benchmark"]}, geometry=[outline], crs=CRS)
    boundary.to_file(folder / "boundary.gpkg", layer="boundary", driver="GPKG")
    (folder / "rain.csv").write_text(RAIN, encoding="utf-8")
    run_file = folder / "run.toml"
    run_file.write_text(RUN_FILE, encoding="utf-8")
    return run_file


def coarse_ground(side_m: float, seed: int) -> FloatArray:
    """Valleys and hills on the coarse grid, with one cell to spare on each side, m.

    Its rim, where the making held the heights, is cut off.
    """
    rim = 15
    needed = int(np.ceil(side_m / COARSE_M)) + 3
    cells = min(needed, MOST_COARSE_CELLS)
    heights = valley_landscape(
        cells + 2 * rim,
        cells + 2 * rim,
        COARSE_M,
        seed=seed,
        creep_m2=30.0,
        steps=100,
        years=16.0,
        tilt=0.35,
    )[rim:-rim, rim:-rim]
    heights = heights * (MEAN_SLOPE_PCT / slope_pct(heights, COARSE_M).mean())
    if needed > cells:
        heights = np.pad(heights, (0, needed - cells), mode="symmetric")
        # Long swells keep mirrored hills from standing at the same heights.
        east, south = np.meshgrid(np.arange(needed) * COARSE_M, np.arange(needed) * COARSE_M)
        heights += 60.0 * np.sin(east / 2300.0 + seed) + 60.0 * np.cos(south / 1900.0 + 0.3 * seed)
    # Valleys fall all the way: a lake in every third of them would be no usual hill country.
    heights = filled_ground(heights, 0.05)
    heights = gaussian_filter(heights, 0.8)  # rounds what a straight enlargement would crease
    return np.asarray(heights - heights.min() + LOWEST_M)


def fine_relief(seed: int) -> GroundArray:
    """Relief of 10 to 60 m across on a tile that fits on to itself all round, m."""
    random = np.random.default_rng((seed, 1))
    tile = np.zeros((512, 512))
    for spread, deviation_m in ((2.0, 0.05), (5.0, 0.15), (12.0, 0.5)):
        part = gaussian_filter(random.normal(0.0, 1.0, tile.shape), spread, mode="wrap")
        tile += part * (deviation_m / part.std())
    return tile.astype(np.float32)


def band_of(
    coarse: FloatArray,
    fine: GroundArray,
    top: int,
    rows: int,
    side: int,
    cell_m: float,
) -> GroundArray:
    """Some rows of the terrain without noise, (rows, side) float32, m."""
    south_m: FloatArray = np.linspace(top + 0.5, top + rows - 0.5, rows) * np.float64(cell_m)
    east_m: FloatArray = np.linspace(0.5, side - 0.5, side) * np.float64(cell_m)
    band = _read(coarse.astype(np.float32), south_m / COARSE_M, east_m / COARSE_M, smooth=True)
    band += _read(fine, south_m / FINE_M, east_m / FINE_M, smooth=False)
    return band


def _read(grid: GroundArray, row: FloatArray, column: FloatArray, *, smooth: bool) -> GroundArray:
    """Values between the cells of a grid, which repeats: quadratic splines, or straight lines.

    Both are products of weights along rows and along columns: two sparse sums, no gather per cell.
    """
    across = _weighted(grid, row, smooth=smooth)
    return np.ascontiguousarray(_weighted(np.ascontiguousarray(across.T), column, smooth=smooth).T)


def _weighted(grid: GroundArray, place: FloatArray, *, smooth: bool) -> GroundArray:
    """Rows of a grid between its rows, (places, columns)."""
    parts: tuple[GroundArray, ...]
    if smooth:  # quadratic B-spline: the slope has no step, so level lines have no corners
        near = np.round(place).astype(np.int64)
        away = (place - near).astype(np.float32)[:, None]
        parts = (0.5 * (0.5 - away) ** 2, 0.75 - away**2, 0.5 * (0.5 + away) ** 2)
    else:
        near = np.floor(place).astype(np.int64)
        away = (place - near).astype(np.float32)[:, None]
        parts = (1.0 - away, away)
    result = np.zeros((len(place), grid.shape[1]), dtype=np.float32)
    for step, weight in enumerate(parts):
        result += weight * grid[(near + step) % grid.shape[0]]
    return result


def main() -> None:
    """Read the command line and write the folder."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--side", type=int, default=5000, help="cells along each side")
    parser.add_argument("--cell-m", type=float, default=1.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--compress", choices=["", "zstd"], default="")
    chosen = parser.parse_args()
    started = time.perf_counter()
    run_file = make_terrain(
        chosen.folder, chosen.side, cell_m=chosen.cell_m, seed=chosen.seed, compress=chosen.compress
    )
    print(f"{run_file} in {time.perf_counter() - started:.1f} s")


if __name__ == "__main__":
    main()
