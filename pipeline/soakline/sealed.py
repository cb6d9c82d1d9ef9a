"""Keeps the raster and vector libraries to local files of plain formats.

A file from a stranger may name other files and addresses: inside itself, or in what libraries look
for beside it. Formats that live from doing so are left out, and the network is closed to them.
"""

import os

LEFT_OUT = (
    # Made of other files or of addresses:
    *("VRT", "OGR_VRT", "GTI", "GDALG", "MRF", "STACIT", "STACTA", "DERIVED", "KMLSUPEROVERLAY"),
    *("WMS", "WMTS", "WCS", "WFS", "CSW", "OAPIF", "OGCAPI", "HTTP", "EEDA", "EEDAI", "DAAS"),
    *("PLMOSAIC", "PLSCENES", "NGW", "AmigoCloud", "Carto", "Elasticsearch", "ADBC", "GeoRSS"),
    # Of files that can pass for a GeoPackage or GeoJSON, and of containers of other files:
    *("SQLite", "MBTiles", "Rasterlite", "PMTiles", "MVT", "OSM", "ESRIJSON", "TopoJSON", "JSONFG"),
    *("netCDF", "HDF5", "HDF5Image", "BAG", "Zarr", "SAFE", "SENTINEL2", "TIL", "DIMAP", "ECRGTOC"),
)
"""Drivers that are not loaded. The allow-lists of `inputs` stand besides; this holds for files that
a driver opens by itself, such as masks and overviews."""

SETTINGS = {
    "GDAL_SKIP": ",".join(LEFT_OUT),
    "OGR_SKIP": ",".join(LEFT_OUT),
    # No address has this ending, so none is opened; whatever goes round that meets a closed door.
    "CPL_VSIL_CURL_ALLOWED_EXTENSIONS": ".none-is-allowed",
    "GDAL_HTTP_PROXY": "127.0.0.1:9",
    "GDAL_HTTP_CONNECTTIMEOUT": "1",
    "GDAL_HTTP_TIMEOUT": "1",
    "GDAL_HTTP_MAX_RETRY": "0",
    "GML_DOWNLOAD_SCHEMA": "NO",
    "OGR_SQLITE_ALLOW_EXTERNAL_ACCESS": "NO",
    "OGR_SQLITE_LOAD_EXTENSIONS": "",
    "OGR_GEOJSON_MAX_OBJ_SIZE": "200",
    "GDAL_DRIVER_PATH": "disable",
    "PROJ_NETWORK": "OFF",
    # Not every build has every driver, and says so for each; what users read comes from us.
    "CPL_LOG": os.devnull,
}


def seal() -> None:
    """Set what the libraries read of the environment when they are loaded; no user's value holds.

    Workers that are started later get the same by inheriting it.
    """
    os.environ.update(SETTINGS)
