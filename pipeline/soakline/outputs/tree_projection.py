"""The layer of sight lines from the tops of trees to the swales above them."""

import geopandas as gpd
import numpy as np
import shapely

from soakline.outputs.columns import SCHEMAS, Columns, frame
from soakline.outputs.designed import Designed
from soakline.planting.projection import Projection, neighbours


def projection_of(plan: Designed) -> Projection:
    """Neighbouring swales of a plan."""
    figures = plan.figures
    lips = np.empty(figures.level_m.size, dtype=object)
    lips[:] = [shapely.linestrings(line.coordinates[:, :2]) for line in plan.placed.lines]
    return neighbours(
        lips,
        figures.level_m,
        figures.tree_height_m,
        figures.slope_pct,
        plan.terrain.drainage_line,
    )


def projection_layer(plan: Designed, crs: str) -> gpd.GeoDataFrame:
    """The `tree_projection` layer."""
    pairs, figures = projection_of(plan), plan.figures
    ids = np.array(plan.placed.ids, dtype=object)
    height = figures.tree_height_m[pairs.below]
    top = figures.level_m[pairs.below] + height
    columns: Columns = {
        "swale_id": ids[pairs.above],
        "below_id": ids[pairs.below],
        "distance_m": pairs.distance_m,
        "drop_m": pairs.drop_m,
        "height_needed_m": pairs.drop_m,
        "tree_height_m": height,
        "seen_m": np.maximum(pairs.drop_m - height, 0.0),
        "hidden_m": np.maximum(height - pairs.drop_m, 0.0),
    }
    ends = np.stack(
        [
            np.column_stack([pairs.start, top]),
            np.column_stack([pairs.end, figures.level_m[pairs.above]]),
        ],
        axis=1,
    )
    lines = np.asarray(shapely.linestrings(ends), dtype=np.object_)
    return frame(SCHEMAS["tree_projection"], columns, lines, crs)
