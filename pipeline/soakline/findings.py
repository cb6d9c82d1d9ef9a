"""What the plan tells its reader about itself: notes, cautions and stops."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Severity = Literal["note", "caution", "stop"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One row of the `findings` table.

    Parameters
    ----------
    code : short, stable, lower case with underscores
    severity : `note`, `caution` or `stop`
    layer : the layer that the feature is in; empty where the whole plan is meant
    feature_id : the feature's id; empty where the whole layer or plan is meant
    message : what was found, with figures and units
    advice : what to do about it; defers to local codes and licensed practice where safety is
        concerned
    """

    code: str
    severity: Severity
    layer: str
    feature_id: str
    message: str
    advice: str = ""


CODES: Mapping[str, tuple[str, str]] = {
    # reading
    "dem_turned": ("note", "the DEM's rows or columns ran the other way and were turned north-up"),
    "dem_warped": ("note", "the DEM was interpolated to the working CRS"),
    "dem_infinite": ("caution", "infinite heights of the DEM were taken as missing"),
    "indicative": ("caution", "cells over 5 m: the plan shows where to look, not where to dig"),
    "no_pegs": ("caution", "cells over 10 m: no pegs are set"),
    "tiles_differ": ("caution", "heights differ where tiles overlap"),
    "vertical_unit_differs": ("caution", "the DEM's own vertical unit is not the run file's"),
    "stepped_heights": ("caution", "heights come in steps, on which level lines wander"),
    "striped_heights": (
        "caution",
        "whole rows or columns of the DEM are offset from their neighbours",
    ),
    "surface_model": (
        "caution",
        "the DEM seems to hold tree tops and roofs; level lines need bare ground",
    ),
    "crs_scale": ("caution", "lengths in the working CRS are off on this land"),
    "boundary_mended": ("note", "the boundary crossed itself or overlapped, and was mended"),
    "boundary_not_covered": ("caution", "part of the property lies off the DEM's valid cells"),
    "feature_mended": ("note", "a feature's outline crossed itself and was mended"),
    "feature_without_geometry": ("caution", "a feature without geometry was left out"),
    "feature_off_dem": ("caution", "a feature lies off the DEM and has no effect"),
    "layer_not_read": (
        "caution",
        "a layer whose name is not known; the nearest known one is named",
    ),
    "column_not_read": ("caution", "a column whose name is nearly one that is read"),
    "rain_pattern_scaled": ("note", "shares of a rain pattern missed a sum of 1 by a rounding"),
    "check_storm_missing": (
        "caution",
        "the rain table has no column for the check storm; the rarest is taken",
    ),
    # the plan as a whole
    "standing_water": ("note", "ponded water: drowning, mosquitoes"),
    "buried_services": ("note", "services are only known as far as they were given"),
    "soil_not_tested": ("note", "dispersive, saline or contaminated soil was not tested for"),
    "permits": ("note", "works that may need a permit"),
    "levels_on_site": (
        "note",
        "heights are only as good as the DEM: level from an instrument on site",
    ),
    "not_checked": ("note", "what the plan did not check"),
    "steep_sign_off_missing": ("stop", "a slope limit over 20 % without an engineer's sign-off"),
    "spacing_rule_replaced": ("note", "swales are spaced by another rule than tree height"),
    "consent_missing": (
        "caution",
        "water may leave over the edge, but no neighbour's consent is named",
    ),
    "no_swale": ("caution", "no swale fits on this land, and why"),
    "unserved_ground": ("note", "allowed ground that drains to no swale, and why"),
    "small_hollows": ("note", "hollows too small to list: count, area, deepest"),
    "short_for_machine": ("note", "pieces of line left out because the machine digs none so short"),
    "no_place_for_sill": ("note", "pieces of line left out because they could not spill"),
    "small_catchment": ("note", "pieces of line left out because little drains to them"),
    "land_not_covered": (
        "note",
        "part of the land has no cover or soil drawn; the run file's stand in",
    ),
    "section_wider_than_spacing": (
        "caution",
        "works of neighbouring swales would meet, so that lines are cut or left out",
    ),
    "soil_too_shallow": ("note", "rock or water table shut out ground, and what depth they bear"),
    "soaking_not_reliable": ("caution", "the base soaks too slowly to be relied on"),
    "amended_base": ("caution", "soaking counts on a treatment of the base, and on how much"),
    "amendment_left_out": ("note", "swales on soil that the amendment is no use on go without"),
    # swales
    "no_safe_end": ("stop", "the swale's overflow reaches no safe end"),
    "unstable_ground_below": (
        "caution, stop",
        "steep or slipping ground down the water's way; stop where people are near it",
    ),
    "slope_over_5": ("note", "ground over 5 %: FAO's advice on works that collect runoff"),
    "slope_over_10": ("caution", "ground over 10 %"),
    "catchment_cut_off": ("caution", "the DEM's edge cuts off part of what drains here"),
    "drains_slowly": ("caution", "takes longer to empty than section.max_drain_h"),
    "capacity_short": ("caution", "spills in the design storm, and the spacing that would hold it"),
    "trench_safety": ("caution", "a cut face so high that people need a way out or support"),
    "capacity_less_at_bends": ("caution", "a lip turns round its water and holds less"),
    "mostly_hillside_cut": ("caution", "more is cut above the water than holds water"),
    "spoil_short": ("note", "the mound lacks spoil"),
    "spoil_left_over": ("note", "spoil finds no room on the mound"),
    "sill_too_long": ("caution", "sills take more than a quarter of the lip"),
    "sill_short": ("caution", "less ground fit for a sill was found than is wanted"),
    "sill_cut_in": ("caution", "the sill is cut through ground that stands over it"),
    "chain_failure": ("caution", "swales below that would overtop if this one let go"),
    # swales that are given, and those that were dug
    "given_swale_split": ("note", "pieces of a line that was split have an id each"),
    "given_swale_turned": ("note", "a line drawn with its uphill side on the right"),
    "given_swale_off_level": (
        "caution, stop",
        "ground along a given line is off its level; stop where 0.5 m and more under it",
    ),
    "given_swale_on_excluded_ground": (
        "caution, stop",
        "a given swale on excluded ground; stop where people are at risk or beyond the property",
    ),
    "given_swale_across_drainage_line": (
        "stop",
        "a given swale dams a drainage line or watercourse",
    ),
    "given_swales_meet": ("caution, stop", "works of two given swales meet; stop where lips cross"),
    "given_swale_little_catchment": ("note", "little drains to a given swale"),
    "built_not_counted": ("note", "works of built swales are in no quantity, hour or cost"),
    "as_built_low": ("caution", "a lip was dug lower than its sill: where and what that costs"),
    "as_built_holds": ("note", "lips that were measured are nowhere lower than their sills"),
    # building
    "machine_hours_rough": ("note", "hours are those of the table of machines, and what they lack"),
    "machine_unfit": ("caution", "bucket, depth or reach of the machine do not fit the section"),
    "bend_too_tight": (
        "note",
        "the ground tolerance leaves bends tighter than the machine's or the run file's radius",
    ),
    "rates_missing": ("note", "costs leave out what no rate is given for"),
    "phase_without_safe_end": ("stop", "a phase of building holds a swale without a safe end"),
    "phase_over_limit": ("caution", "one swale takes more than the limit of a phase"),
    "phase_before_those_above": (
        "caution",
        "dug in an earlier phase than swales above it: more water comes until those are dug",
    ),
    # what leads water to swales
    "diversion_uphill": ("caution", "a drawn diversion runs uphill and is left out"),
    "diversion_uneven": ("caution", "ground along a drawn diversion rises over its way down"),
    "diversion_could_be_shorter": ("note", "a steeper drain would come to a swale sooner"),
    "diversion_misses": ("caution", "a drawn diversion comes to no swale and is left out"),
    "diversion_ends_short": ("note", "a diversion's water runs over the ground to its swale"),
    "diversion_needs_lining": ("caution", "a drain's water runs faster than its cover bears"),
    "diversion_crosses_track": ("caution", "a drain crosses a track"),
    "diversion_crosses_service": ("caution", "a drain is dug over a service"),
    "diversion_crosses_route": ("caution", "a drain crosses the way of spilled water"),
    "hard_surface_undrained": ("caution", "water of a roof or paving comes to no swale"),
    "hard_surface_swale_unknown": ("caution", "a roof or paving names a swale that is not there"),
    "hard_surface_drains": ("note", "where the water of a roof or paving goes"),
    # where the water goes
    "route_needs_lining": ("caution", "faster or steeper than the cover bears"),
    "protect_until_grass_stands": ("caution", "faster than bare earth bears"),
    "route_crosses_track": ("caution", "a route crosses a track"),
    "route_over_mound": ("caution", "a route runs over the loose spoil of another swale"),
    "route_over_steep_ground": (
        "caution",
        "a route runs over ground steeper than swales may stand on",
    ),
    "leaves_property": ("caution", "a route leaves over the property's edge, with consent"),
    "hollow_overflows": ("caution", "a kept hollow spills on to a safe end in the check storm"),
    "dam_may_overflow": ("caution", "more may reach a dam than it is said to take"),
    "safe_point_may_overflow": (
        "caution",
        "more may reach a given safe point than it is said to take",
    ),
    "drainage_line_loaded": ("caution", "routes bring a drainage line much water, or fast water"),
    # where tracks meet swales
    "ford_under_water": ("caution", "a track goes through a swale's water"),
    "ford_does_not_fit": ("caution", "a ford was asked for where it is too deep or too long"),
    "pipe_may_block": ("caution", "a pipe under a causeway that must be kept clear"),
    "track_between_swales": ("caution", "a track passes between the ends of two swales"),
    "crossing_at_lip_end": ("caution", "no mound finds room between a track and the lip's end"),
    "track_carries_water": ("caution", "a swale's water may run down a track"),
    "crossing_aslant": ("caution", "a track crosses a lip at less than 30°"),
    "track_along_swale": ("caution", "a track runs along a lip for a long way"),
    # ponds, basins and organic pits along swales
    "swale_point_left_out": ("caution", "chosen points that no pond, basin or pit is dug at"),
    "swale_points_suggested": ("note", "where ponds or basins are suggested, and where not"),
    "swale_points_not_counted": ("note", "what ponds and basins hold beyond all capacities"),
    "organic_pits_settle": ("caution", "what rots in pits settles, and may burn"),
    "swale_point_on_other_soil": ("caution", "a pond or a basin on soil that is not its own"),
    "passage_interrupted": ("caution", "ponds or pits in bases that something is to pass along"),
    "pond_shallower": ("caution", "a pond is as deep as the base leaves room for"),
    "pond_stands": ("caution", "water that stands in a pond, how deep and how long"),
    "swale_point_too_deep": ("caution", "rock or water table close below a floor"),
    # trees
    "species_to_check": ("caution", "species come from a table that knows no place: weeds, fire"),
    "trees_and_pipes": ("note", "how far trunks keep off what was given, and how far roots reach"),
    "trees_near_salt": ("caution", "trees change where salty water rises"),
    "swale_without_trees": ("caution", "no tree finds a place on the swale"),
    "windbreaks_chosen": ("note", "swales that are windbreaks, and what stands in their shelter"),
    "no_windbreak": ("note", "no swale meets enough of the wind to be a windbreak"),
    "trench_not_shaded": ("note", "full-grown crowns never close over the trench"),
    "trees_over_height": ("note", "trees grow higher than the height that spaces the swales"),
    # the years after digging
    "years_rough": ("note", "the weather that swales are followed through, and what is left out"),
    "watertable_may_rise": (
        "caution",
        "swales send more water below the roots than trees take: waterlogging, salt",
    ),
    "between_on_rain": ("note", "trees between swales live on rain alone: what they take and lack"),
    "silt_takes_room": ("note", "when silt and leaves have taken a fifth of the capacity"),
    "grazing_waits": ("note", "the year from which stock do not reach the trees"),
    "dam_release_unknown": ("caution", "a dam is said to feed a swale that is not there"),
    "water_stands_long": ("caution", "water stands longer than section.max_drain_h, how often"),
}
"""Every code: the severities it may have, and what it says. Kept complete by a test."""
