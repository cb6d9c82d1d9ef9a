"""The table of each swale's earth: what is cut, and where it goes."""

from soakline.outputs.columns_swales import SWALE_ID
from soakline.outputs.schema import LayerSchema, real

EARTHWORKS = LayerSchema(
    "earthworks",
    None,
    "Earthworks",
    "The balance of each swale's earth: settled spoil and what is short of it equal what is made "
    "up, heaped, filled, spread and left over. Swell and settlement are those of the run file: "
    "the soil on site decides.",
    (
        SWALE_ID,
        real("cut_m3", "m³", "Cut", "Bank volume of the trench, as in swales."),
        real(
            "cut_between_m3",
            "m³",
            "Cut between the pegs",
            "What bends, and the DEM's own ground between the pegs, add to that volume or, if "
            "negative, take from it: each slice along its own way, the curvature correction of the "
            "average end area method.",
        ),
        real(
            "cut_below_m3",
            "m³",
            "Cut below the base",
            "Bank volume dug for what is filled in below the base.",
        ),
        real("cut_track_m3", "m³", "Cut for tracks", "Bank volume of fords' ramps."),
        real(
            "cut_sill_m3",
            "m³",
            "Cut for sills",
            "Bank volume of sills through ground that stands over them, until it lies under them.",
        ),
        real("spoil_m3", "m³", "Spoil", "Settled volume of all these cuts."),
        real("short_m3", "m³", "Short", "Settled spoil that the least mound lacks."),
        real("made_up_m3", "m³", "Made-up lip", "Low spots of the lip, compacted."),
        real("mound_m3", "m³", "Mound", "Settled, along the lip."),
        real(
            "returns_m3",
            "m³",
            "Mound's returns",
            "Settled, where the mound turns uphill round the trench's ends.",
        ),
        real("track_fill_m3", "m³", "Track fill", "Crowns of fords and causeways, compacted."),
        real("spread_m3", "m³", "Spread", "Settled, spread on flat ground where no mound stands."),
        real("left_over_m3", "m³", "Left over", "Settled spoil that finds no room on the mound."),
        real(
            "topsoil_m3",
            "m³",
            "Topsoil",
            "Stripped from under trench and mound before anything is dug, stored clear of both, "
            "and all spread back over the mound; it is part of cut and fill, not more of them.",
        ),
        real("topsoil_from_m2", "m²", "Stripped ground", "Of trench and mound, in plan."),
        real(
            "topsoil_over_m2",
            "m²",
            "Ground under topsoil",
            "The mound in plan; null where the spoil is spread, and topsoil with it.",
        ),
        real(
            "topsoil_back_m",
            "m",
            "Thickness spread back",
            "Of topsoil on the mound, as thick as it lay; null where the spoil is spread.",
        ),
    ),
)
