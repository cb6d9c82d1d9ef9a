"""Times the library kernels that the terrain cannot do without, for comparison.

`python bench/raw_kernels.py dem.tif richdem` fills a DEM with a gradient (float64), accumulates it
by D8 and takes its slope; with `pyflwdir` it fills the DEM, brings its cells in downstream order
and accumulates them; with `copy` it copies the DEM in memory, as float64. Seconds for each are
printed as JSON, reading and compiling left out.
"""

import json
import sys
import time
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pyflwdir
import rasterio
import richdem as rd

from soakline.quiet import quiet_streams

NO_DATA = -9999.0
Heights = npt.NDArray[np.float64]


def richdem_seconds(heights: Heights, cell_m: float) -> dict[str, float]:
    """Seconds of `fill`, `accumulation` and `slope`; the heights are written over."""
    seconds = {}
    geotransform = (0.0, cell_m, 0.0, 0.0, 0.0, -cell_m)
    with quiet_streams():
        raster = rd.rdarray(heights, no_data=NO_DATA, geotransform=geotransform)
        began = time.perf_counter()
        rd.FillDepressions(raster, epsilon=True, in_place=True)
        seconds["fill"] = time.perf_counter() - began
        began = time.perf_counter()
        rd.FlowAccumulation(raster, method="D8")
        seconds["accumulation"] = time.perf_counter() - began
        began = time.perf_counter()
        rd.TerrainAttribute(raster, attrib="slope_percentage")
        seconds["slope"] = time.perf_counter() - began
    return seconds


def pyflwdir_seconds(heights: Heights) -> dict[str, float]:
    """Seconds of `fill`, `order` and `accumulation`."""
    _by_pyflwdir(heights[:64, :64].astype(np.float32))  # compiles
    return _by_pyflwdir(heights.astype(np.float32))


def _by_pyflwdir(heights: npt.NDArray[np.float32]) -> dict[str, float]:
    seconds = {}
    began = time.perf_counter()
    _, directions = pyflwdir.dem.fill_depressions(heights, nodata=NO_DATA)
    seconds["fill"] = time.perf_counter() - began
    began = time.perf_counter()
    network = pyflwdir.from_array(directions, ftype="d8", check_ftype=False)
    network.order_cells()
    seconds["order"] = time.perf_counter() - began
    began = time.perf_counter()
    network.upstream_area(unit="cell")
    seconds["accumulation"] = time.perf_counter() - began
    return seconds


def copy_seconds(heights: Heights) -> dict[str, float]:
    """Seconds of `copy`, the best of three into memory that is there already."""
    target = heights.copy()
    best = float("inf")
    for _ in range(3):
        began = time.perf_counter()
        np.copyto(target, heights)
        best = min(best, time.perf_counter() - began)
    return {"copy": best}


def main() -> None:
    """Read the DEM, time one library's kernels, print seconds as JSON."""
    dem, library = sys.argv[1:]
    with rasterio.open(Path(dem)) as source:
        heights = source.read(1).astype(np.float64)
        cell_m = source.transform.a
    if library == "richdem":
        seconds = richdem_seconds(heights, cell_m)
    else:
        seconds = {"pyflwdir": pyflwdir_seconds, "copy": copy_seconds}[library](heights)
    print(json.dumps(seconds))


if __name__ == "__main__":
    main()
