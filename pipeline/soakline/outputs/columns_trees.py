"""The layer of trees, and the table of how they grow."""

from soakline.inputs.species import GROUPS
from soakline.outputs.columns_swales import SWALE_ID
from soakline.outputs.schema import LayerSchema, integer, real, text
from soakline.planting.trees import ALL_BANDS

_SPECIES = text("species", "Species", "Botanical name, as the table of species has it.")

TREES = LayerSchema(
    "trees",
    "Point",
    "Trees",
    "Where trees may stand: full-grown crowns side by side, off spillways, overflow routes, "
    "crossings, services and excluded ground. Species come from the owner's table, or from an "
    "example that knows no place: check each against local lists of weeds, local fire rules and "
    "the advice of a local nursery before it is ordered. Roots seek water in pipes.",
    (
        SWALE_ID,
        text(
            "band",
            "Band",
            "mound: on its top and downhill face; below: up to 2 m below the mound, or below the "
            "lip where none stands; uphill: up to 2 m above the trench's daylight edge; trench: in "
            "it, where a year brings 250 mm of rain or less; between: on the ground up to the next "
            "swale, in rows along level lines (planting.between).",
            ALL_BANDS,
        ),
        _SPECIES,
        text("group", "Group", "What it is planted for.", GROUPS),
        integer("year", "Year", "In which it is planted; 1 is the year in which swales are dug."),
        real("crown_m", "m", "Crown", "Width of the full-grown crown."),
        real("height_m", "m", "Height", "Of the full-grown tree."),
    ),
)

TREE_PROJECTION = LayerSchema(
    "tree_projection",
    "LineStringZ",
    "Tree-height projection",
    "From the top of a mature tree on each swale to the lip of the swale above, where the two are "
    "nearest, for each pair of neighbours with no other lip and no drainage line between. Who "
    "looks up the hill from below sees one wall of trees where no line rises towards its upper "
    "end.",
    (
        text("swale_id", "Upper swale", "The swale above."),
        text("below_id", "Lower swale", "The swale on which the trees stand."),
        real("distance_m", "m", "Distance", "Between the two lips in plan, at their nearest."),
        real("drop_m", "m", "Drop", "From the upper level down to the lower one."),
        real(
            "height_needed_m",
            "m",
            "Height needed",
            "Of trees on the lower swale, counted from its level, for a level line from their tops "
            "to meet the lip above.",
        ),
        real("tree_height_m", "m", "Mature height", "H of the lower swale."),
        real(
            "seen_m",
            "m",
            "Bare ground seen",
            "Height of the ground below the upper lip that shows over mature trees; 0 where they "
            "reach it.",
        ),
        real(
            "hidden_m",
            "m",
            "Hidden",
            "Height over the upper lip, its mound and the feet of its trees, that mature trees "
            "stand before; 0 where they do not reach it.",
        ),
    ),
)

TREE_GROWTH = LayerSchema(
    "tree_growth",
    None,
    "Growth of crowns",
    "How wide the crowns of each species planted are, year by year: w = W (1 − exp(−k t))^1.5, "
    "k from the table's grown_years (Richards 1959). A rough guide: soil, water, pruning decide.",
    (
        _SPECIES,
        integer("age", "Age", "Years since planting."),
        real("crown_m", "m", "Crown", "Width of the crown at that age."),
    ),
)
