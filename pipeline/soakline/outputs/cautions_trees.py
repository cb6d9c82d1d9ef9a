"""Findings on trees: shade that never comes, trees too high, and what no table can know."""

from collections.abc import Iterator

import numpy as np

from soakline.findings import Finding
from soakline.outputs.designed import Designed
from soakline.outputs.trees import shade_columns
from soakline.outputs.windbreaks import wind_findings
from soakline.planting.shade import CLOSED_SHARE
from soakline.planting.trees import figures_of

_LAYER = "trees"


def tree_findings(plan: Designed) -> Iterator[Finding]:
    """What is to be said of wind, of all trees together, then of each swale."""
    yield from wind_findings(plan)
    if not plan.run.planting.trees or plan.figures.level_m.size == 0:
        return
    if plan.trees.lip.size:
        yield from _on_all(plan)
    yield from _on_swales(plan)


def _on_all(plan: Designed) -> Iterator[Finding]:
    keys, trees = plan.run.planting, plan.trees
    table = keys.species or "the example table that ships (config/species.csv)"
    kinds = sorted(set(trees.names))
    yield Finding(
        "species_to_check",
        "caution",
        _LAYER,
        "",
        f"{trees.lip.size} trees of {len(kinds)} species come from {table}, by soil, rain and "
        f"height alone: {', '.join(kinds)}. Frost, pests, pollination and fire were not looked "
        "at, and a tree that is good in one place is a weed in another",
        "check each against local lists of weeds and local fire rules, and ask a local nursery, "
        "before it is ordered; keep what burns easily off buildings",
    )
    yield Finding(
        "trees_and_pipes",
        "note",
        _LAYER,
        "",
        f"trunks keep {keys.clearance_m:g} m off routes, sills, drains, tracks, services and "
        "buildings that were given; roots reach at least as far as the crown, into pipes, drains "
        "and footings",
        "have services located on site; ask their owners, and local codes, how far trees are to "
        "stay off; no tree on the wall of a dam",
    )
    if len(plan.inputs.features.saline):
        yield Finding(
            "trees_near_salt",
            "caution",
            _LAYER,
            "",
            "saline ground was given: no tree stands on it, but swales and trees beside it change "
            "where salty water rises",
            "have groundwater and salt looked at by a local adviser before planting",
        )


def _on_swales(plan: Designed) -> Iterator[Finding]:
    trees, figures = plan.trees, plan.figures
    swales = figures.level_m.size
    planted = np.bincount(trees.lip, minlength=swales)
    shade = shade_columns(plan)
    height = figures_of(trees.table, "height_m")[trees.species]
    highest = np.zeros(swales)
    np.maximum.at(highest, trees.lip, height)
    for swale in range(swales):
        feature = plan.placed.lines[swale].swale_id
        if planted[swale] == 0:
            yield Finding(
                "swale_without_trees",
                "caution",
                "swales",
                feature,
                "no tree finds a place on this swale",
                "look at excluded ground, routes and planting.clearance_m there, and at the crowns "
                "in the table of species",
            )
            continue
        grown = float(shade["shade_grown_pct"][swale])
        if np.isnan(shade["crowns_close_year"][swale]):
            closing = np.ceil(10.0 * trees.closing_crown_m[swale]) / 10.0
            yield Finding(
                "trench_not_shaded",
                "note",
                "swales",
                feature,
                f"full-grown crowns shade {grown:.0f} % of the trench's top width, never the "
                f"{100.0 * CLOSED_SHARE:.0f} % from which a canopy is closed: water and grass in "
                f"it stay in the sun. Crowns of {closing:.1f} m, all where these trees "
                "stand, would close over it",
                "set species with crowns so wide at these places, where they come to meet along "
                "the row, or dig a narrower trench; a table of wider crowns alone spaces trees "
                "wider",
            )
        if highest[swale] > figures.tree_height_m[swale] + 1e-6:
            yield Finding(
                "trees_over_height",
                "note",
                "swales",
                feature,
                f"trees here grow up to {highest[swale]:g} m, over the mature height of "
                f"{figures.tree_height_m[swale]:g} m that the spacing of swales is set by: they "
                "come to stand before the swale above",
                "take lower species into the table, keep these pruned, or space for their height",
            )
