"""Layers and tables of the water: spillways, routes, storms and what each storm does."""

from soakline.outputs.columns_swales import SWALE_ID
from soakline.outputs.schema import LayerSchema, real, text

PURPOSES = ("design", "check")
ROUTE_ENDS = ("swale", "drainage_line", "dam", "hollow", "safe_point", "property_edge")

SPILLWAYS = LayerSchema(
    "spillways",
    "PointZ",
    "Spillways",
    "Level sills where a full swale spills on natural ground; Z is the sill level. Dig the sill "
    "last, to the lowest lip found, and keep it grassed and clear. Check with local codes and a "
    "licensed engineer.",
    (
        text("spillway_id", "Spillway", "Id of the spillway."),
        SWALE_ID,
        real(
            "sill_level_m",
            "m",
            "Sill level",
            "Elevation of the sill; the only figure that may differ from the swale's level.",
        ),
        real(
            "sill_length_m",
            "m",
            "Sill length",
            "Length along the lip that must be dead level: a sill that is out of level spills at "
            "one point and scours.",
        ),
        real("check_head_m", "m", "Head in the check storm", "Water over the sill at its peak."),
        real(
            "peak_m3s",
            "m³/s",
            "Peak",
            "Greatest rate of spill over the check storms. A rarer storm will exceed it.",
        ),
        real(
            "sill_width_m",
            "m",
            "Sill width",
            "Across the lip: the strip that must be dead level, compacted and lined.",
        ),
        real(
            "apron_length_m",
            "m",
            "Apron length",
            "Lined ground below the sill, downhill; common practice. Stone, its size and its keys "
            "are for a licensed engineer to say.",
        ),
        real("apron_m2", "m²", "Sill and apron", "Lined area of both."),
        text(
            "lining",
            "Lining",
            "Of sill and apron: grass where bare earth bears the water; matting until grass stands "
            "where grass alone will bear it; stone where grass does not.",
            ("grass", "grass on matting", "stone on geotextile"),
        ),
    ),
)

OVERFLOW_ROUTES = LayerSchema(
    "overflow_routes",
    "LineStringZ",
    "Overflow routes",
    "The way spilled water takes, drawn downhill from the spillway to a safe end. Keep it grassed "
    "and free of fences, tracks and buildings. Check with local codes and a licensed engineer.",
    (
        text("route_id", "Route", "Id of the route."),
        SWALE_ID,
        text("spillway_id", "Spillway", "Id of the spillway that the route starts at."),
        text("to_kind", "Ends on", "What kind of thing the route ends on.", ROUTE_ENDS),
        text(
            "to_id",
            "Ends at",
            "Id of what the route ends on: swale, drainage line, hollow or safe point; null at the "
            "property's edge, where a neighbour's consent is needed.",
        ),
        real("length_m", "m", "Length", "Length of the route in plan."),
        real("drop_m", "m", "Drop", "Fall from the sill to the route's end."),
        real("max_slope_pct", "%", "Greatest slope", "Steepest reach of the route."),
        real(
            "peak_m3s",
            "m³/s",
            "Peak",
            "Greatest flow over the check storms, routes that join it included.",
        ),
        real(
            "velocity_ms",
            "m/s",
            "Velocity",
            "Greatest mean velocity over reaches of 5 m, by Manning with short grass.",
        ),
        real(
            "permissible_ms",
            "m/s",
            "Permissible velocity",
            "What the grown cover bears on this soil and slope, 0 where the ground is steeper than "
            "its table goes; bare earth bears far less: protect until grass stands.",
        ),
        text(
            "lining",
            "Lining",
            "grass where it bears the velocity; lining needed where it does not, or where the "
            "ground is steeper than its table goes.",
            ("grass", "lining needed"),
        ),
    ),
)

DIVERSIONS = LayerSchema(
    "diversions",
    "LineStringZ",
    "Diversion drains",
    "Drains at a gentle grade that lead water of roofs, paving and other ground to a swale, drawn "
    "downhill. Have services located before digging; check with local codes.",
    (
        text("diversion_id", "Diversion", "Id of the drain."),
        SWALE_ID,
        text("name", "Name", "As the features file has it; a traced drain bears its surface's."),
        text(
            "source", "Source", "given: drawn; traced: found by the program.", ("given", "traced")
        ),
        real("grade_pct", "%", "Grade", "Mean fall along the drain."),
        real("length_m", "m", "Length", "Length along the drain."),
        real("catchment_m2", "m²", "Catchment", "Land whose water passes its lower end."),
        real("peak_m3s", "m³/s", "Peak", "Greatest flow over the check storms."),
        real("base_width_m", "m", "Base width", "Of the earth trapezoid that carries the peak."),
        real("depth_m", "m", "Depth", "0.1 m of freeboard included."),
        real("batter", "", "Batter", "Horizontal per 1 vertical, both sides."),
        real("velocity_ms", "m/s", "Velocity", "At the peak, by Manning."),
    ),
)


STORMS = LayerSchema(
    "storms",
    None,
    "Storms",
    "The storms that were run: every duration and pattern of the design and the check column.",
    (
        text("storm_id", "Storm", "Id of the storm."),
        text("frequency", "Frequency", "Column head of the rain table, as written there."),
        real(
            "aep_pct",
            "%",
            "AEP",
            "Annual exceedance probability: the chance in any one year, every year anew.",
        ),
        real("duration_min", "min", "Duration", "Duration of the storm."),
        real("depth_mm", "mm", "Depth", "Rain of the whole storm, uplift included."),
        text("pattern", "Pattern", "How the rain is spread over the duration."),
        text(
            "purpose",
            "Purpose",
            "design: to be held; check: to be passed safely.",
            PURPOSES,
        ),
    ),
)

SWALE_STORMS = LayerSchema(
    "swale_storms",
    None,
    "Swales by storm",
    "What each storm does in each swale. Volumes balance: inflow = stored + infiltrated + "
    "overflow when routing ends.",
    (
        SWALE_ID,
        text("storm_id", "Storm", "Id of the storm."),
        real("runoff_m3", "m³", "Runoff", "From the swale's own dry catchment."),
        real("received_m3", "m³", "Received", "Spilled into it by swales above."),
        real("inflow_m3", "m³", "Inflow", "Runoff, rain on its water, received and diverted."),
        real("stored_m3", "m³", "Stored", "Water still held when routing ends."),
        real(
            "infiltrated_m3",
            "m³",
            "Infiltrated",
            "Water soaked in by then, at the conductivity assumed: test it on site.",
        ),
        real("overflow_m3", "m³", "Overflow", "Water spilled over the sill."),
        real("peak_spill_m3s", "m³/s", "Peak spill", "Greatest rate of spill."),
        real("max_level_m", "m", "Highest water", "Elevation of the highest water."),
        real("freeboard_m", "m", "Freeboard", "Settled crest minus highest water."),
        real("drain_down_h", "h", "Drain-down time", "From the end of rain until empty."),
    ),
)

STORM_COURSES = LayerSchema(
    "storm_courses",
    None,
    "Courses of storms",
    "The hydrograph of its governing storm at each swale, by as many moments as it takes for "
    "straight lines between them to stay within 1.5 % of the greatest figure.",
    (
        SWALE_ID,
        text("storm_id", "Storm", "Id of the storm."),
        real("after_min", "min", "Time", "From the start of the storm."),
        real(
            "inflow_m3s",
            "m³/s",
            "Inflow",
            "Runoff, rain on its water, and what swales above and drains bring.",
        ),
        real("spill_m3s", "m³/s", "Spill", "Over all its sills together."),
        real("level_m", "m", "Water level", "Elevation of the water; of the base where it is dry."),
    ),
)

QUANTITIES = LayerSchema(
    "quantities",
    None,
    "Quantities",
    "What has to be dug, moved and bought. Rates are the owner's; empty where none is given. Hours "
    "are at the output of the table of machines, an estimate. Ground that spoil is spread on is "
    "not in the bare earth to seed.",
    (
        text("item", "Item", "What is counted."),
        text("unit", "Unit", "Unit of the amount."),
        real("amount", "", "Amount", "How much, in the row's unit."),
        real("rate", "", "Rate", "Cost of one unit; null where no rate is given."),
        real(
            "cost",
            "",
            "Cost",
            "Amount times rate, in the owner's currency; null where no rate is given. The last row "
            "is the total of what has a rate, and of nothing else.",
        ),
    ),
)

FINDINGS = LayerSchema(
    "findings",
    None,
    "Findings",
    "What the plan tells its reader about itself, one row a feature. A plan with a stop is not to "
    "be built as it stands.",
    (
        text("code", "Code", "Short, stable name of the finding."),
        text(
            "severity",
            "Severity",
            "note: to know; caution: to weigh before building; stop: not to be built so.",
            ("note", "caution", "stop"),
        ),
        text("layer", "Layer", "Layer that the feature is in; null for the whole plan."),
        text("feature_id", "Feature", "Id of the feature; null for the whole layer or plan."),
        text("message", "Message", "What was found, with figures and units."),
        text(
            "advice",
            "Advice",
            "What to do about it; local codes and licensed practice come first.",
        ),
    ),
)

RUN_RECORD = LayerSchema(
    "run_record",
    None,
    "Run record",
    "How this plan came about: versions, run file, every default used, inputs with SHA-256.",
    (
        text("key", "Key", "What is recorded."),
        text("value", "Value", "The value used, as text."),
    ),
)
