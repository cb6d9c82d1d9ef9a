"""The layers of ponds, basins and organic pits along the swales."""

from soakline.outputs.columns_swales import SWALE_ID
from soakline.outputs.schema import LayerSchema, real, text
from soakline.runfile.swale_point_section import POINT_KINDS
from soakline.section.soils import soils

_POINT_ID = text("point_id", "Point", "Id of the pond, basin or pit.")
_KIND = text(
    "kind",
    "Kind",
    "pond: the base dug deeper, to hold water for a season in clay; basin: the base wider on its "
    "uphill side, to soak more where ground soaks fast; organic_pit: a pit in the base filled with "
    "logs, prunings and mulch.",
    POINT_KINDS,
)

SWALE_POINTS = LayerSchema(
    "swale_points",
    "Point",
    "Ponds, basins and pits",
    "Seasonal ponds, infiltration basins and organic pits along swales, over the middle of the "
    "floor. Level, lip and sill of the swale are those without them, and so are its capacity, its "
    "cut and all storms: what is held and dug here comes on top. The layer can be moved, thinned "
    "out and given back as swale_points of the features file. Open water can drown a child and "
    "breeds mosquitoes: fences and depths are for local codes to say.",
    (
        _POINT_ID,
        SWALE_ID,
        _KIND,
        text(
            "source",
            "Source",
            "given: chosen in the features file; suggested: found by this program.",
            ("given", "suggested"),
        ),
        text("texture", "Soil", "USDA texture of the ground there.", tuple(soils())),
        real("chainage_m", "m", "Chainage", "Of its middle, along the lip from its start."),
        real(
            "length_m",
            "m",
            "Length",
            "Along the swale: of a pond at the swale's base, its end ramps of 1 in 3 included; of "
            "a basin at full water; of a pit.",
        ),
        real(
            "width_m",
            "m",
            "Width",
            "Of a pond at the swale's base, where its sides go on at the swale's batter; of what a "
            "basin adds to the base; of a pit.",
        ),
        real(
            "depth_m",
            "m",
            "Depth below the base",
            "Of the floor below the swale's base; null at a basin, whose floor is the base.",
        ),
        real("floor_level_m", "m", "Floor level", "Elevation of the floor that is dug to."),
        real(
            "area_m2",
            "m²",
            "Area",
            "At the swale's base: of a pond when full to there, of the level floor that a basin "
            "adds, of a pit.",
        ),
        real(
            "storage_m3",
            "m³",
            "Water held besides",
            "By a pond below the swale's base, by a basin beside it up to full water. Not in "
            "capacity_m3, and not counted on in any storm. Null at a pit.",
        ),
        real("cut_m3", "m³", "Cut besides", "Bank volume dug, beyond the swale's cut_m3."),
        real("organic_m3", "m³", "Organic fill", "Volume of a pit; null elsewhere."),
        real(
            "seep_h",
            "h",
            "Time to seep away",
            "In which a pond full to the swale's base would soak away through its floor at the "
            "ground's own rate, clogging counted, without evaporation. Null elsewhere.",
        ),
        real(
            "face_height_m",
            "m",
            "Face height",
            "Highest cut face there, from the floor up, before a pit is filled. Local codes say "
            "from which height people need a way out or support.",
        ),
    ),
)

SWALE_POINT_GROUND = LayerSchema(
    "swale_point_ground",
    "MultiPolygon",
    "Ground of ponds, basins and pits",
    "What each takes in plan: a pond and a pit of the swale's base, a basin from the swale's own "
    "water's edge uphill to where its cut meets the ground, which lies partly beyond swale_ground.",
    (
        _POINT_ID,
        SWALE_ID,
        _KIND,
        real("area_m2", "m²", "Area", "Area of the polygon."),
    ),
)
