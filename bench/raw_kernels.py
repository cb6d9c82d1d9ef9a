"""Times the library kernels that the terrain cannot do without, for comparison.

`python bench/raw_kernels.py dem.tif` fills a DEM with a gradient (float64), accumulates it by D8
and takes its slope, all with richdem, and prints seconds for each as JSON.
"""

import json
import sys
import time
from pathlib import Path

import numpy as np
import rasterio
import richdem as rd

from soakline.quiet import quiet_streams


def raw_seconds(dem: Path) -> dict[str, float]:
    """Seconds by kernel, reading left out.

    Parameters
    ----------
    dem : a GeoTIFF of one band

    Returns
    -------
    seconds of `fill`, `accumulation` and `slope`
    """
    with rasterio.open(dem) as source:
        heights = source.read(1).astype(np.float64)
        cell_m = source.transform.a
    seconds = {}
    geotransform = (0.0, cell_m, 0.0, 0.0, 0.0, -cell_m)
    with quiet_streams():
        raster = rd.rdarray(heights, no_data=-9999.0, geotransform=geotransform)
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


if __name__ == "__main__":
    print(json.dumps(raw_seconds(Path(sys.argv[1]))))
