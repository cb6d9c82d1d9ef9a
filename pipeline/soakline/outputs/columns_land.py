"""Layers that describe the land itself: its edge, slopes, water lines and forbidden ground."""

from soakline.outputs.schema import LayerSchema, integer, real, text

EXCLUSION_REASONS = (
    "boundary",
    "building",
    "septic",
    "well",
    "drainage_line",
    "watercourse",
    "dam",
    "service",
    "track",
    "landslip",
    "too_steep",
    "wet",
    "shallow_soil",
    "saline",
    "protected",
    "by_wish",
)

PROPERTY = LayerSchema(
    "property",
    "MultiPolygon",
    "Property",
    "The land that the plan is made for, as given and made valid. Not a survey of the title.",
    (
        text("name", "Name", "Name of the property, from the run file."),
        real("area_m2", "m²", "Area", "Area in plan, not along the slope."),
    ),
)

SAFE_POINTS = LayerSchema(
    "safe_points",
    "Point",
    "Safe points",
    "Places where spilled water may end. Whether they can take it in a flood beyond the check "
    "storm is for a licensed engineer to confirm on site.",
    (
        text("safe_id", "Safe point", "Id of the safe point."),
        text("name", "Name", "Name as given; null where the point was derived without one."),
        text(
            "kind",
            "Kind",
            "dam: on its rim where the first route enters; given: named by the owner, of an area "
            "where the first route enters; outlet: where a drainage line that routes feed leaves "
            "the property.",
            ("dam", "given", "outlet"),
        ),
        text(
            "source",
            "Source",
            "given: from the features file; derived: found on the ground.",
            ("given", "derived"),
        ),
    ),
)

DRAINAGE_LINES = LayerSchema(
    "drainage_lines",
    "LineString",
    "Drainage lines",
    "Lines where water gathers and runs, drawn downhill: contributing area over the run file's "
    "limit, confirmed by a dispersive accumulation. Whether a line is stable today is not checked.",
    (
        text("line_id", "Drainage line", "Id of the drainage line."),
        integer("order_strahler", "Strahler order", "1 for a line without tributaries."),
        real(
            "contributing_m2",
            "m²",
            "Contributing area",
            "Ground that drains through the line's lower end, outside the property included.",
        ),
    ),
)

SLOPE_CLASSES = LayerSchema(
    "slope_classes",
    "MultiPolygon",
    "Slope classes",
    "The property divided by steepness of the smoothed ground; patches under 100 m² are merged "
    "into a neighbour. Steep ground needs an engineer's opinion before any trench is dug on it.",
    (
        integer("class", "Class", "Number of the class, 1 for the flattest."),
        real("lower_pct", "%", "From slope", "Least slope of the class, included; rise over run."),
        real(
            "upper_pct",
            "%",
            "To slope",
            "Greatest slope of the class, excluded; null for the steepest class.",
        ),
        real("area_m2", "m²", "Area", "Area of the class within the property, in plan."),
    ),
)

EXCLUDED_GROUND = LayerSchema(
    "excluded_ground",
    "MultiPolygon",
    "Excluded ground",
    "Ground on which no swale may stand, each part under the first reason that applies. Only what "
    "the features file names is kept clear of: have buried services located before digging.",
    (
        text(
            "reason",
            "Reason",
            "First reason, in the order of the method. The reasons too_steep and wet bind the lip, "
            "all others the whole footprint.",
            EXCLUSION_REASONS,
        ),
        real("area_m2", "m²", "Area", "Area excluded for this reason first, in plan."),
    ),
)

HOLLOWS = LayerSchema(
    "hollows",
    "Polygon",
    "Hollows",
    "Closed hollows over the run file's depth or area. Small ones are left out and counted in a "
    "finding.",
    (
        text("hollow_id", "Hollow", "Id of the hollow."),
        real("depth_m", "m", "Depth", "Deepest point below the hollow's outlet."),
        real("volume_m3", "m³", "Volume", "Water it holds when full to its outlet."),
        text(
            "treatment",
            "Treatment",
            "filled: passes water on as if full; kept: large in both depth and area, so that a "
            "route may end in it.",
            ("filled", "kept"),
        ),
    ),
)
