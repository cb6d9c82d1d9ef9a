"""Trees: their layer, how they grow, what is ordered of them, and the shade that they give."""

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from soakline.grid import FloatArray
from soakline.inputs.quantity_items import UNITS
from soakline.outputs.columns import SCHEMAS, Columns, frame
from soakline.outputs.designed import Designed
from soakline.planting.growth import crown_width_m
from soakline.planting.shade import closing_year, share_shaded
from soakline.planting.trees import ALL_BANDS, Trees, figures_of
from soakline.works.bill import Entry

# Shade is told for these years, and for full-grown trees.
SHADE_YEARS = (5, 10)
_GROWTH_YEARS = 20
TREES, GUARDS, MULCH = "trees", "tree guards", "mulch round trees"


def tree_layer(trees: Trees, swale_ids: list[str], crs: str) -> gpd.GeoDataFrame:
    """The `trees` layer; ids are those of the lips."""
    swales = np.array(swale_ids, dtype=object)
    group = np.array([species.group for species in trees.table], dtype=object)
    columns: Columns = {
        "swale_id": swales[trees.lip],
        "band": np.array(ALL_BANDS, dtype=object)[trees.band],
        "species": trees.names,
        "group": group[trees.species],
        "year": trees.year,
        "crown_m": trees.crown_m,
        "height_m": figures_of(trees.table, "height_m")[trees.species],
    }
    places = np.asarray(shapely.points(trees.easting_m, trees.northing_m), dtype=np.object_)
    return frame(SCHEMAS["trees"], columns, places, crs)


def growth_table(plan: Designed) -> pd.DataFrame:
    """The `tree_growth` table: every species that is planted, for twenty years."""
    table = plan.trees.table
    species = np.repeat(np.unique(plan.trees.species), _GROWTH_YEARS)
    age = np.tile(np.arange(1, _GROWTH_YEARS + 1), species.size // _GROWTH_YEARS)
    columns: Columns = {
        "species": [table[i].species for i in species.tolist()],
        "age": age,
        "crown_m": crown_width_m(
            age.astype(float),
            figures_of(table, "crown_m")[species],
            figures_of(table, "grown_years")[species],
        ),
    }
    return frame(SCHEMAS["tree_growth"], columns)


def tree_entries(plan: Designed) -> list[Entry]:
    """Trees to order by year and species, guards and mulch; nothing where none is planted."""
    own, keys = plan.trees, plan.run.planting
    swales = plan.figures.level_m.size
    if own.lip.size == 0:
        return []
    ordered = own.year * len(own.table) + own.species
    entries = []
    for code in np.unique(ordered).tolist():
        year, species = divmod(code, len(own.table))
        count = np.bincount(own.lip[ordered == code], minlength=swales).astype(float)
        item = f"{TREES}, year {year}, {own.table[species].species}"
        entries.append(Entry(item, UNITS[TREES], count, TREES))
    count = np.bincount(own.lip, minlength=swales).astype(float)
    mulch = np.pi / 4.0 * keys.mulch_ring_m**2 * keys.mulch_depth_m * count
    return [
        *entries,
        Entry(GUARDS, UNITS[GUARDS], count, GUARDS),
        Entry(MULCH, UNITS[MULCH], mulch, MULCH),
    ]


def shade_columns(plan: Designed) -> dict[str, FloatArray]:
    """Columns of `swales` on shade; null where a swale has no tree."""
    own, swales = plan.trees, plan.figures.level_m.size
    bare = np.bincount(own.lip, minlength=swales) == 0

    def pct(year: float) -> FloatArray:
        share = share_shaded(own.shaded_lip, own.shaded_from, year, swales)
        return np.where(bare, np.nan, 100.0 * share)

    return {
        **{f"shade_year_{year}_pct": pct(year) for year in SHADE_YEARS},
        "shade_grown_pct": pct(np.finfo(float).max),
        "crowns_close_year": np.where(
            bare, np.nan, closing_year(own.shaded_lip, own.shaded_from, swales)
        ),
    }
