"""The layer of crossings: where tracks meet swales."""

from soakline.outputs.columns_swales import SWALE_ID
from soakline.outputs.schema import LayerSchema, integer, real, text
from soakline.section.crossings import KINDS

CROSSINGS = LayerSchema(
    "crossings",
    "Point",
    "Crossings",
    "Where a track meets a swale, on its lip. Sizes are for discussion on site: what may drive "
    "over a crossing is for local codes and a licensed engineer to say.",
    (
        text("crossing_id", "Crossing", "Id of the crossing."),
        SWALE_ID,
        text(
            "other_swale_id",
            "Other swale",
            "Beyond a gap the swale whose end lies on the track's other side; null elsewhere.",
        ),
        text("track", "Track", "Name as the features file has it; else its number there, from 1."),
        text(
            "kind",
            "Kind",
            "ford: through the level base, over a crown on the downhill side; causeway: over the "
            "trench on fill, with a pipe along its base; gap: between the ends of two swales.",
            KINDS,
        ),
        real("chainage_m", "m", "Chainage", "Of the track's middle, along the lip from its start."),
        real("start_m", "m", "Start", "Chainage at which the track's width begins; null at a gap."),
        real("end_m", "m", "End", "Chainage at which the track's width ends; null at a gap."),
        real(
            "bearing_deg",
            "°",
            "Bearing of the track",
            "In which it leaves the lip uphill, clockwise from grid north.",
        ),
        real(
            "angle_deg",
            "°",
            "Angle to the lip",
            "Between track and lip, 90 where it crosses square. Trench and fill reach as much "
            "further as 1 / sine of the angle, three times as far at most.",
        ),
        real(
            "slope_pct",
            "%",
            "Slope of the track",
            "Of the ground along the track where it meets the lip.",
        ),
        real(
            "width_m",
            "m",
            "Width along the lip",
            "What the track takes of the lip, 3 m wide where no width is given: no mound and no "
            "sill lie there. At a gap the track's own width.",
        ),
        real(
            "level_m",
            "m",
            "Crown level",
            "Elevation of the crown that keeps the water from running down the track: the sill, "
            "the head over it in the check storm and the freeboard; on a causeway also 0.3 m over "
            "the pipe. Compacted, not loose spoil. Null at a gap.",
        ),
        real(
            "base_level_m",
            "m",
            "Base level",
            "Elevation of the swale's base: a ford's floor, and where a pipe is laid level, sunk "
            "if it is wider than the water is deep. Null at a gap.",
        ),
        real(
            "run_m",
            "m",
            "Track reshaped",
            "Length of track that ramps of 1 in 6, floor and crown take; null at a gap, and where "
            "the track is as steep as the ramps.",
        ),
        real(
            "cut_m3",
            "m³",
            "Cut",
            "Bank volume of a ford's ramps, besides the trench; on even ground.",
        ),
        real(
            "fill_m3",
            "m³",
            "Fill",
            "Of a ford's crown or a causeway, sides included, compacted; on even ground.",
        ),
        real(
            "refill_m3",
            "m³",
            "Fill in the trench",
            "Of that fill, what lies in the trench, which is dug through for the pipe.",
        ),
        integer("pipes", "Pipes", "How many lie side by side under a causeway; else null."),
        real(
            "pipe_diameter_m",
            "m",
            "Pipe diameter",
            "Inside; passes pipe_flow_m3s with at most 0.05 m between the levels on both sides "
            "(full flow, FHWA HDS-5, equation 3.6; Manning's n 0.024, entrance loss 0.9).",
        ),
        real("pipe_length_m", "m", "Pipe length", "Of each, from toe to toe of the fill."),
        real(
            "pipe_flow_m3s",
            "m³/s",
            "Flow through pipes",
            "Most that has to pass in the check storms for both sides to stay one level pool.",
        ),
    ),
)
