"""The layer of diversion drains."""

import geopandas as gpd
import shapely

from soakline.ids import diversion_id
from soakline.outputs.columns import SCHEMAS, frame
from soakline.outputs.designed import Designed


def diversion_layer(plan: Designed, crs: str) -> gpd.GeoDataFrame:
    """The `diversions` layer."""
    dug = plan.diversions
    rows, lines = [], []
    for k, drain in enumerate(dug.drains):
        section = dug.sections[k]
        rows.append(
            {
                "diversion_id": diversion_id(k),
                "swale_id": plan.placed.lines[drain.swale].swale_id,
                "name": drain.name,
                "source": drain.source,
                "grade_pct": drain.grade_pct,
                "length_m": drain.length_m,
                "catchment_m2": float(dug.catchment_m2[k]),
                "peak_m3s": section.peak_m3s,
                "base_width_m": section.base_width_m,
                "depth_m": section.depth_m,
                "batter": section.batter,
                "velocity_ms": section.velocity_ms,
            }
        )
        lines.append(shapely.linestrings(drain.coordinates))
    return frame(SCHEMAS["diversions"], rows, lines, crs)
