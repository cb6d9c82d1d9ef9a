"""`fleet.gpkg`: one feature a property, with or without a plan."""

from pathlib import Path

import geopandas as gpd
import pyogrio
import shapely

from soakline.fleet.rows import Row
from soakline.outputs.whole_file import written_whole

LAYER = "properties"
_REALS = ("area_m2", "length_m", "capacity_m3", "cut_m3", "seconds")
_INTEGERS = ("swales", "stops", "cautions", "notes", "attempts")


def write_summary(file: Path, rows: list[Row]) -> None:
    """Write the summary whole or not at all.

    Parameters
    ----------
    file : the GeoPackage; its folder is there
    rows : in the list's order

    Raises
    ------
    InputRefused
        If it cannot be written to.
    """
    frame = gpd.GeoDataFrame(
        [row.values(file.parent) for row in rows],
        geometry=[_boundary(row) for row in rows],
        crs="EPSG:4326",
    )
    frame = frame.astype(dict.fromkeys(_REALS, "float64") | dict.fromkeys(_INTEGERS, "Int64"))
    with written_whole(file, 200_000 + 4_000 * len(rows)) as temporary:
        pyogrio.write_dataframe(
            frame,
            temporary,
            layer=LAYER,
            driver="GPKG",
            geometry_type="MultiPolygon",
            promote_to_multi=True,
            layer_options={"DESCRIPTION": "What became of each property of the fleet"},
        )


def _boundary(row: Row) -> shapely.Geometry | None:
    figures = row.outcome.figures if row.outcome else None
    return shapely.from_wkb(figures.boundary_wkb) if figures else None
