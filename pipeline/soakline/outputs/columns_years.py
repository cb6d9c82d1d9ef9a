"""The tables of what the years bring, and of what is done in them."""

from soakline.outputs.columns_swales import SWALE_ID
from soakline.outputs.schema import Column, LayerSchema, integer, real, text


def _m3(name: str, title: str, description: str) -> Column:
    return real(name, "m³", title, description)


def _days(name: str, title: str, description: str) -> Column:
    return real(name, "", title, description)


_BETWEEN = (
    "They have rain alone, with swales and without, and count by the swale that their ground "
    "drains to; 0 where none stands (planting.between)."
)
_WITHOUT = "The same ground and plants on the same days, were there no swale."

WATER_YEARS = LayerSchema(
    "water_years",
    None,
    "Water of the years",
    "Every swale in every year after digging, followed day by day through the weather that the run "
    "file names; empty where it names none. In the trench: runoff + received = soaked + evaporated "
    "+ spilled + change of held. In the ground of the bands: rain in bands + soaked = used by "
    "trees + used by cover + drained + change of stored; likewise between swales, where nothing is "
    "soaked from a trench. A guide to what to expect and to "
    "compare by, no forecast: other years bring other rain.",
    (
        SWALE_ID,
        integer("year", "Year", "From digging; 1 begins on the first day of the weather."),
        real("rain_mm", "mm", "Rain", "Of the year."),
        real("et0_mm", "mm", "Evapotranspiration", "Reference evapotranspiration of the year."),
        _m3(
            "runoff_m3",
            "Runoff caught",
            "From its catchment and diversions, rain on its own water, releases from dams.",
        ),
        _m3("received_m3", "Received", "Spilled into it by swales above."),
        _m3("soaked_m3", "Soaked", "Into the ground from the trench."),
        _m3("evaporated_m3", "Evaporated", "From the water in the trench."),
        _m3("spilled_m3", "Spilled", "Over its sills."),
        _m3("held_m3", "Held", "In the trench at the end of the year."),
        real(
            "rooted_m2",
            "m²",
            "Ground of the bands",
            "Mound, 2 m below it and 2 m uphill of the trench, or as much as full-grown crowns "
            "cover.",
        ),
        _m3("rain_in_bands_m3", "Rain in bands", "That soaks in where it falls on the bands."),
        _m3("tree_use_m3", "Used by trees", "Of rain and soaked water; 0 where no tree is placed."),
        _m3("cover_use_m3", "Used by cover", "By pasture and soil between the crowns."),
        _m3(
            "drained_m3",
            "Drained below",
            "Below the depth of full-grown roots, towards the watertable.",
        ),
        _m3("stored_m3", "Stored", "In the ground of the bands at the year's end, for plants."),
        integer("wet_days", "Wet days", "On which water stands in the trench for an hour or more."),
        real(
            "longest_wet_h", "h", "Longest wet spell", "Longest that water stands without a break."
        ),
        integer(
            "dry_days", "Dry days", "With under 1 mm of rain and no water standing in the trench."
        ),
        _days(
            "stress_days",
            "Stress days",
            "On which plants of the bands get less than they could use (Ks under 1, FAO-56), mean "
            "over the bands by area.",
        ),
        real(
            "silt_pct",
            "%",
            "Silt",
            "Of the capacity taken by silt and leaves at the end of the year, before digging out.",
        ),
        Column(
            "desilted", "boolean", "Dug out", "Dug out and reshaped after the end of this year."
        ),
        _m3("runoff_without_m3", "Runoff without", f"Leaves its catchment. {_WITHOUT}"),
        _m3("tree_use_without_m3", "Used by trees without", _WITHOUT),
        _m3("cover_use_without_m3", "Used by cover without", _WITHOUT),
        _m3("drained_without_m3", "Drained below without", _WITHOUT),
        integer("dry_days_without", "Dry days without", "With under 1 mm of rain."),
        _days("stress_days_without", "Stress days without", _WITHOUT),
        real(
            "between_rooted_m2",
            "m²",
            "Ground between",
            f"Under full-grown crowns of the trees between swales. {_BETWEEN}",
        ),
        _m3("between_rain_m3", "Rain between", f"That soaks in where it falls. {_BETWEEN}"),
        _m3("between_tree_use_m3", "Used by trees between", f"Of that rain. {_BETWEEN}"),
        _m3("between_cover_use_m3", "Used by cover between", f"Between young crowns. {_BETWEEN}"),
        _m3(
            "between_drained_m3",
            "Drained below, between",
            f"Below the depth of full-grown roots. {_BETWEEN}",
        ),
        _m3("between_stored_m3", "Stored between", f"At the year's end, for plants. {_BETWEEN}"),
        _days("between_stress_days", "Stress days between", f"With Ks under 1. {_BETWEEN}"),
    ),
)

CALENDAR = LayerSchema(
    "calendar",
    None,
    "Calendar of works",
    "What is done in which month of which year, by the seasons of the weather that the run file "
    "names; empty where it names none. Months are those of a mean year: the ground, not the "
    "calendar, tells the day. Phases of building are taken as years.",
    (
        integer("year", "Year", "Calendar year; 1 is the one in which swales are first dug."),
        integer("month", "Month", "1 January to 12 December."),
        text("task", "Task", "What is done."),
        text("where", "Where", "On which swales."),
        real("amount", "", "Amount", "How much of it, in the unit beside it."),
        text("unit", "Unit", "Unit of the amount."),
        text("advice", "Advice", "What to look after."),
    ),
)
