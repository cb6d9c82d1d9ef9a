"""Findings on the plan as a whole: what land it leaves, what to mind, what it did not check."""

from collections.abc import Iterator

from soakline.findings import Finding
from soakline.outputs.designed import Designed

# The usual cautions, which hold for every plan.
_STANDING = (
    Finding(
        "standing_water",
        "note",
        "swale_ground",
        "",
        "ponded water can drown a child and breeds mosquitoes where it stands for days",
        "fence or plant the water's edge near houses; keep drain-down short",
    ),
    Finding(
        "buried_services",
        "note",
        "pegs",
        "",
        "buried services are only known as far as they were given",
        "have services located on site before any digging",
    ),
    Finding(
        "soil_not_tested",
        "note",
        "swales",
        "",
        "dispersive, saline or contaminated soil was not tested for: dispersive clay tunnels "
        "under standing water, and soaking can raise salt",
        "test the soil (Emerson class, EC) along the lines before digging",
    ),
    Finding(
        "permits",
        "note",
        "swales",
        "",
        "works on watercourses, dams and drainage may need a permit, and so may earthworks near "
        "boundaries",
        "ask the local authority first; local codes and licensed practice come before this plan",
    ),
    Finding(
        "not_checked",
        "note",
        "",
        "",
        "not checked: whether drainage lines are stable today, soil depth and strength, "
        "groundwater below what was given, vegetation and habitat, title and easements, floods "
        "beyond the check storm",
        "a licensed engineer should see the plan and the land",
    ),
)


def whole_findings(plan: Designed) -> Iterator[Finding]:
    """What is to be said of the plan as a whole."""
    keys = plan.run.siting
    if keys.max_slope_pct > 20 and not keys.steep_sign_off.strip():
        yield Finding(
            "steep_sign_off_missing",
            "stop",
            "swales",
            "",
            f"siting.max_slope_pct is {keys.max_slope_pct:g}, over 20 %, and no engineer has "
            "signed it off",
            "name, licence and date of the engineer go into siting.steep_sign_off",
        )
    if plan.run.spacing.rule != "tree-height":
        yield Finding(
            "spacing_rule_replaced",
            "note",
            "swales",
            "",
            f"levels are spaced by the rule {plan.run.spacing.rule}, not by tree height",
            "",
        )
    if plan.run.overflow.allow_property_edge and not plan.run.overflow.neighbour_consent.strip():
        yield Finding(
            "consent_missing",
            "caution",
            "overflow_routes",
            "",
            "overflow.allow_property_edge is set and no neighbour's consent is named: water that "
            "leaves over the edge stays at stop",
            "who agreed, and when, goes into overflow.neighbour_consent",
        )
    yield from _on_land(plan)
    yield from _STANDING
    yield Finding(
        "levels_on_site",
        "note",
        "pegs",
        "",
        "heights are only as good as the DEM: property.dem_accuracy_m is "
        f"{plan.run.property.dem_accuracy_m:g} m, one standard deviation; its roughness against "
        f"the smoothed ground is {plan.terrain.noise_m:.2f} m",
        "position from this plan, level from an instrument on site; dig the sill last, to the "
        "lowest lip found",
    )


def _on_land(plan: Designed) -> Iterator[Finding]:
    total = plan.inputs.property.area.area
    reasons = ", ".join(
        f"{reason} {100 * area / total:.1f} %" for reason, _, area in plan.site.excluded.parts
    )
    if not plan.placed.lines:
        yield Finding(
            "no_swale",
            "caution",
            "swales",
            "",
            f"no swale fits on this land: {100 * plan.site.allowed_m2 / total:.1f} % of it is "
            f"allowed ground ({reasons or 'nothing is excluded'})",
            "look at excluded_ground; where the land is nearly level, a smaller tree height or "
            "spacing.max_spacing_m lays lines closer",
        )
        return
    unserved = plan.unserved_m2
    if unserved > 0:
        yield Finding(
            "unserved_ground",
            "note",
            "swales",
            "",
            f"{unserved / 1e4:.2f} ha of allowed ground drain to no swale: below the lowest line "
            "of a hillside, beside drainage lines, or where no piece of line is long enough. "
            f"Excluded ground, by first reason: {reasons or 'none'}",
            "shorter least lengths or smaller setbacks reach more of it",
        )
