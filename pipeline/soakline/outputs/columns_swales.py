"""Layers of the swales: the level lips, what is dug and heaped, what drains to them, the pegs."""

from soakline.outputs.schema import LayerSchema, integer, real, text

SWALE_ID = text("swale_id", "Swale", "Id of the swale, stable while terrain and siting stay.")

SWALES = LayerSchema(
    "swales",
    "LineStringZ",
    "Swales",
    "Each swale's downhill lip, its uphill side on the left; Z is the level at every vertex. "
    "Position from this plan, level from an instrument on site; dig the sill last, to the lowest "
    "lip found. Check with local codes and a licensed engineer.",
    (
        SWALE_ID,
        text(
            "state",
            "State",
            "planned: laid by the rule; fixed: a given line, still to be dug; built: given, and "
            "dug already: its works are in no quantity and no cost.",
            ("planned", "fixed", "built"),
        ),
        real(
            "level_m",
            "m",
            "Full water level",
            "Elevation of full water and of the sill, the same along the whole lip. No better than "
            "the DEM: set out relative to ground on site.",
        ),
        real("length_m", "m", "Length", "Length of the lip in plan."),
        real("base_width_m", "m", "Base width", "Width of the level base of the trench."),
        real(
            "depth_m",
            "m",
            "Depth",
            "Full water level to base. Standing water: mind drowning, children and mosquitoes.",
        ),
        real("batter", "", "Batter", "Horizontal run per 1 vertical of both trench sides."),
        text(
            "soil_texture",
            "Soil",
            "USDA texture of the soil that most of the lip lies on; it sets batter and shape.",
        ),
        real(
            "soaking_mm_h",
            "mm/h",
            "Soaking rate",
            "Conductivity of the soil along the lip, clogging and amendment included. By tables "
            "unless measured: test it in pits on site.",
        ),
        real("top_width_m", "m", "Top width", "Width of the water when full."),
        real(
            "face_height_m",
            "m",
            "Face height",
            "Highest cut face, base to where the uphill batter meets the ground. Trenches over "
            "1.2 m can collapse: follow local rules on battering, benching and shoring.",
        ),
        real(
            "mound_height_m",
            "m",
            "Mound height",
            "Settled crest of the mound above full water; 0 where the spoil is spread.",
        ),
        real(
            "mound_top_level_m",
            "m",
            "Mound top level",
            "Elevation of the settled crest. Loose spoil is no dam: nothing but the head over a "
            "running sill may stand against it.",
        ),
        real(
            "mound_crest_m",
            "m",
            "Mound crest width",
            "Width of the settled crest that the spoil makes; 0 where the spoil is spread.",
        ),
        real(
            "berm_m",
            "m",
            "Berm",
            "Ground kept free of spoil between lip and mound: earthworks.berm_m, and at least 0.6 "
            "where the cut face, what is dug below the base and for ponds and basins included, is "
            "over 1.2 m.",
        ),
        real(
            "capacity_m3",
            "m³",
            "Capacity",
            "Water held below the sill with a level base and lip, the fill of causeways taken off. "
            "Any low spot on the finished lip takes from it: survey the lip before relying on this "
            "figure.",
        ),
        real(
            "lip_low_m",
            "m",
            "Lowest of the lip as built",
            "Lowest level measured along the lip after digging (earthworks.as_built); null where "
            "it was not measured. Below level_m, water stands no higher than here.",
        ),
        real(
            "first_spill_m",
            "m",
            "Point of first spill",
            "Chainage of the lowest level measured, of equal ones the first; null where the lip "
            "was not measured.",
        ),
        real(
            "capacity_lost_m3",
            "m³",
            "Capacity lost",
            "What the swale would hold at its planned sill, less its capacity; null where the lip "
            "was not measured.",
        ),
        real(
            "catchment_m2",
            "m²",
            "Catchment",
            "All ground whose water meets this swale first, its own water surface included.",
        ),
        real(
            "spacing_above_m",
            "m",
            "Spacing above",
            "Mean distance in plan to the next swale uphill, at pegs every 10 m; null if under "
            "half of them find one.",
        ),
        real(
            "interval_above_m",
            "m",
            "Interval above",
            "Mean level difference to the next swale uphill, at the same pegs.",
        ),
        real("spacing_tree_m", "m", "Tree-height spacing", "Spacing by the mature tree height."),
        real("spacing_ratio_m", "m", "Width-ratio spacing", "Spacing by the width ratio."),
        real("spacing_runoff_m", "m", "Runoff spacing", "Widest that this swale holds alone."),
        text("spacing_rule", "Spacing rule", "Rule that binds: it set the interval."),
        real(
            "ground_rms_m",
            "m",
            "Ground, rms",
            "Root mean square of ground minus level along the lip: how truly the line lies.",
        ),
        real(
            "ground_min_m",
            "m",
            "Ground, lowest",
            "Least ground minus level along the lip; negative is low ground that must be made up "
            "with compacted soil.",
        ),
        real("ground_max_m", "m", "Ground, highest", "Greatest ground minus level along the lip."),
        real("slope_pct", "%", "Slope", "Mean ground slope across the line, rise over run."),
        text(
            "landform",
            "Landform",
            "Hint from the curvature of the ground at the swale's own scale.",
            ("ridge", "valley", "slope", "saddle"),
        ),
        text(
            "governing_storm_id",
            "Governing storm",
            "Design storm that asks most of the swale: greatest overflow, then level, then inflow, "
            "then the shorter.",
        ),
        real(
            "design_inflow_m3",
            "m³",
            "Design inflow",
            "All water received in the governing storm: own runoff, rain on its water, from above.",
        ),
        real(
            "design_overflow_m3",
            "m³",
            "Design overflow",
            "Water spilled in the governing storm; 0 means that the swale holds it.",
        ),
        real(
            "design_peak_m3s",
            "m³/s",
            "Design peak spill",
            "Greatest rate of spill over all design storms. Larger storms will exceed it.",
        ),
        real(
            "freeboard_m",
            "m",
            "Freeboard",
            "Settled crest minus highest water, least over the check storms.",
        ),
        real(
            "drain_down_h",
            "h",
            "Drain-down time",
            "Hours from full to empty without inflow, at the conductivity assumed. Soil decides: "
            "test the soaking rate in a pit on site. Water standing for days breeds mosquitoes.",
        ),
        real(
            "cut_m3",
            "m³",
            "Cut",
            "Bank volume of the trench down to its base, topsoil included, by average end area "
            "along the pegs. What is dug below the base and for tracks is in the table earthworks.",
        ),
        real(
            "fill_m3",
            "m³",
            "Fill",
            "Settled volume of that spoil, after swell and settlement. Where it goes is in the "
            "table earthworks.",
        ),
        text(
            "role",
            "Role",
            "Planting that the swale serves: windbreaks are chosen where a table of wind is given.",
            ("tree", "windbreak"),
        ),
        real(
            "wind_met_pct",
            "%",
            "Wind met",
            "Share of the prevailing wind that meets the swale: the more squarely, and the less "
            "higher land upwind keeps off, the more. Null where no table of wind is given.",
        ),
        real(
            "sheltered_pct",
            "%",
            "In shelter",
            "Share of the prevailing wind that full-grown windbreaks and higher land upwind keep "
            "off the swale; null likewise.",
        ),
        real(
            "shade_year_5_pct",
            "%",
            "Shade in year 5",
            "Share of the trench's top width under crowns by the end of year 5. Null where no tree "
            "stands on the swale.",
        ),
        real("shade_year_10_pct", "%", "Shade in year 10", "The same by the end of year 10."),
        real("shade_grown_pct", "%", "Shade, full-grown", "The same under full-grown crowns."),
        integer(
            "crowns_close_year",
            "Crowns close",
            "Year by whose end 60 % of the trench's top width is under crowns, as in a closed "
            "canopy (FGDC 1997); null where that never comes.",
        ),
        integer(
            "build_order",
            "Build order",
            "1 is dug first, built swales before all: phase by phase, in each from the top of the "
            "catchment down, so that what is dug holds water back from what is not yet finished. "
            "Dig in dry weather, and have each sill and its way down finished before rain.",
        ),
        integer(
            "phase",
            "Phase",
            "1 is built first; each phase and those before it reach a safe end without the rest. "
            "0 is built already; null where all is built at once.",
        ),
        real(
            "machine_h",
            "h",
            "Machine hours",
            "Digging and heaping alone, drains that lead here included, at the output of the table "
            "of machines: an estimate, not an offer.",
        ),
        real(
            "cost",
            "",
            "Cost",
            "Amounts of this swale at the owner's rates, in the owner's currency; null where no "
            "rate is given.",
        ),
    ),
)

SWALE_GROUND = LayerSchema(
    "swale_ground",
    "Polygon",
    "Swale ground",
    "The whole footprint of each swale; parts do not overlap.",
    (
        SWALE_ID,
        text(
            "part",
            "Part",
            "ponded: water surface when full; cut_slope: batter above it; berm: bench between lip "
            "and mound; mound: spoil. Loose spoil is no dam. The ground of causeways is none of "
            "these.",
            ("ponded", "cut_slope", "berm", "mound"),
        ),
        real("area_m2", "m²", "Area", "Area of the part in plan."),
    ),
)

SWALE_CATCHMENTS = LayerSchema(
    "swale_catchments",
    "MultiPolygon",
    "Swale catchments",
    "Ground whose water meets a swale first on its way downhill; catchments do not overlap. Water "
    "that is led in by roads, roofs or pipes unknown to the plan is not counted.",
    (
        SWALE_ID,
        real("area_m2", "m²", "Area", "All that drains to the swale, its water surface included."),
        real("ponded_m2", "m²", "Ponded area", "Area of the swale's full water surface."),
        real("runoff_mm", "mm", "Runoff depth", "From the dry ground, in the governing storm."),
        real(
            "runoff_m3",
            "m³",
            "Runoff volume",
            "Runoff depth times the dry ground; rain on the ponded area is not in it.",
        ),
    ),
)
