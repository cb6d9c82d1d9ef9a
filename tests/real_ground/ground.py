"""The real hillside, read the same way by every test of it."""

from pathlib import Path

import rasterio

from soakline.grid import Grid, GroundArray


def hillside() -> tuple[GroundArray, Grid]:
    """Lidar of 400 × 400 cells of 1 m; see `test_hillside` for where it comes from."""
    with rasterio.open(Path(__file__).with_name("hillside.tif")) as source:
        place, size = source.transform, (source.height, source.width)
        return source.read(1), Grid(*size, place.c, place.f, place.a, source.crs.to_wkt())
