"""The layer of pegs, and the table of what is dug beside each."""

from soakline.outputs.columns_swales import SWALE_ID
from soakline.outputs.schema import LayerSchema, integer, real, text

PEGS = LayerSchema(
    "pegs",
    "PointZ",
    "Pegs",
    "Points to set out on the lip; Z is the level. Position from this plan, level from an "
    "instrument on site; have buried services located before digging.",
    (
        text("peg_id", "Peg", "Id of the peg."),
        SWALE_ID,
        text(
            "kind",
            "Kind",
            "start and end of the lip, bend, sill, or line between.",
            ("start", "end", "bend", "sill", "line"),
        ),
        real("chainage_m", "m", "Chainage", "Distance along the lip from its start."),
        real("ground_m", "m", "Ground", "Elevation of the smoothed ground at the peg."),
        real("level_m", "m", "Full water level", "Elevation of full water and of the sill."),
        real("base_level_m", "m", "Base level", "Elevation of the base of the trench."),
        real("cut_m", "m", "Cut", "Ground down to the base; positive is dug."),
        real("mound_top_level_m", "m", "Mound top level", "Elevation of the settled crest."),
    ),
)

PEG_CUTS = LayerSchema(
    "peg_cuts",
    None,
    "Cuts at pegs",
    "What is dug beside each peg; the row numbers are those of the pegs, and the view pegs_to_dig "
    "shows both. In whole millimetres and thousandths, which take a quarter of the room that "
    "fractions of metres would.",
    (
        integer(
            "dig_below_mm",
            "Dug below the base",
            "What is dug below the base level, to be filled in again. Have services located.",
            "mm",
        ),
        integer(
            "daylight_mm",
            "Daylight",
            "Distance uphill of the lip to where the cut face meets the peg's own ground.",
            "mm",
        ),
        integer(
            "daylight_above_mm",
            "Daylight above level",
            "Ground there above full water: the top of the cut face. Trenches over 1.2 m can "
            "collapse: follow local rules.",
            "mm",
        ),
        integer("rise_permille", "Rise uphill", "Mean slope of the ground uphill of the peg.", "‰"),
        integer("fall_permille", "Fall downhill", "Mean slope of the ground under the mound.", "‰"),
    ),
)
