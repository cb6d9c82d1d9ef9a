"""Findings on the years: watertable and salt, standing water, silt, grazing, what is left out."""

from collections.abc import Iterator

import numpy as np

from soakline.findings import Finding
from soakline.outputs.designed import Designed
from soakline.planting.trees import figures_of
from soakline.years.arrays import Sum
from soakline.years.balance import SILT_SHARE, Years
from soakline.years.growing import years_to_height
from soakline.years.releases import released_m3

_TABLE = "water_years"
# Up to here cattle eat leaves; goats, camels and deer reach higher. Common practice, no source.
BROWSED_M = 2.0
# A tree so high keeps its crown above that; common practice, no source.
OUT_OF_REACH_M = 3.0


def year_findings(plan: Designed) -> Iterator[Finding]:
    """What is to be said of the years; nothing where no weather is given."""
    years = plan.years
    if years is None:
        return
    yield _rough(plan, years)
    yield from _on_watertable(plan, years)
    yield from _on_between(years)
    yield _on_silt(plan, years)
    yield from _on_grazing(plan)
    yield from _on_releases(plan)
    yield from _on_standing_water(plan, years)


def _rough(plan: Designed, years: Years) -> Finding:
    keys, count = plan.run.climate, years.rain_mm.size
    if keys.monthly:
        weather = f"{count} years of days made of monthly means (seed {keys.seed})"
    elif years.repeated_years:
        weather = f"the {years.repeated_years} years from {years.first_day} on, repeated to {count}"
    else:
        weather = f"{count} years of days from {years.first_day} on"
    return Finding(
        "years_rough",
        "note",
        _TABLE,
        "",
        f"swales are followed day by day through {weather}; a year brings "
        f"{years.rain_mm.min():.0f} to {years.rain_mm.max():.0f} mm of rain and about "
        f"{years.et0_mm.mean():.0f} mm of reference evapotranspiration ({years.method}). Not "
        "counted: snow, rain that crowns catch, leafless seasons, grazing, water that runs "
        "sideways below ground or rises from below",
        "compare by it, do not forecast by it; weather of the nearest station and a soil pit on "
        "site tell more than any default of [climate]",
    )


def _on_watertable(plan: Designed, years: Years) -> Iterator[Finding]:
    """Where more is added below the roots than the trees take."""
    drained = years.sum_of(Sum.DRAINED).sum(axis=1)
    added = drained - years.sum_of(Sum.DRAINED_WITHOUT).sum(axis=1)
    taken = years.sum_of(Sum.TREES).sum(axis=1)
    if years.between is not None:
        taken = taken + years.between.trees_m3.sum(axis=1)
    more = added > taken
    if not more.any():
        return
    first = int(np.argmax(more))
    depth_mm = 1000.0 * added[first] / plan.inputs.property.area.area
    trees = (
        "trees take" if plan.trees.lip.size else "no trees are planned (planting.trees): they take"
    )
    features = plan.inputs.features
    near = [
        words
        for there, words in (
            (len(features.saline) > 0, "saline ground was given"),
            (bool(features.soils["watertable_m"].notna().any()), "a watertable was given"),
        )
        if there
    ]
    yield Finding(
        "watertable_may_rise",
        "caution",
        _TABLE,
        "",
        f"in {_named_years(more)} swales send more water below the roots than trees take: in year "
        f"{first + 1} {added[first]:.0f} m³ beyond what would drain there without them "
        f"({depth_mm:.0f} mm over the property), while {trees} {taken[first]:.0f} m³. A watertable "
        "that rises waterlogs roots and brings salt up"
        + (f"; {' and '.join(near)}" if near else ""),
        "have depth and salt of the groundwater looked at by a local adviser before digging; plant "
        "pioneers densely in year 1, keep deep-rooted cover between them, watch a test hole "
        "through the first wet seasons",
    )


def _on_between(years: Years) -> Iterator[Finding]:
    """How trees between swales fare beside those on them."""
    own = years.between
    if own is None:
        return
    last = len(years.sums) - 1
    used = float(own.trees_m3[last].sum())
    dry = float(np.average(own.stress_days[last], weights=own.rooted_m2))
    beside = float(np.average(years.sums[last, :, Sum.STRESS_DAYS], weights=years.rooted_m2))
    yield Finding(
        "between_on_rain",
        "note",
        _TABLE,
        "",
        f"trees between swales have the rain that falls on them, nothing from trenches: in year "
        f"{last + 1} they use {used:.0f} m³ on {own.rooted_m2.sum() / 1e4:.1f} ha under their "
        f"crowns, short of water on {dry:.0f} days, those beside swales on {beside:.0f}. That they "
        "may lessen what runs off to swales is not counted",
        "put what bears drought least beside the swales; water the rows between by hand in their "
        "first summers, or plant them thinner, where that is too many days",
    )


def _named_years(which: np.ndarray) -> str:
    """Years in words: a run of them, or how many there are."""
    found = np.flatnonzero(which) + 1
    if found.size == 1:
        return f"year {found[0]}"
    if found[-1] - found[0] + 1 == found.size:
        return f"years {found[0]} to {found[-1]}"
    return f"{found.size} of {which.size} years"


def _on_silt(plan: Designed, years: Years) -> Finding:
    """When silt and leaves have taken a fifth of the capacity."""
    full = years.silt_share >= SILT_SHARE
    count, swales = full.shape
    percent = 100.0 * SILT_SHARE
    if not full.any():
        most = int(np.argmax(years.silt_share.max(axis=0)))
        message = (
            f"silt and leaves take no more than {100.0 * years.silt_share.max():.1f} % of the "
            f"capacity of any swale within {count} years ({plan.placed.lines[most].swale_id} most)"
        )
    else:
        first = np.where(full.any(axis=0), np.argmax(full, axis=0), count)
        swale = int(np.argmin(first))
        many, named = int(full.any(axis=0).sum()), plan.placed.lines[swale].swale_id
        message = (
            f"silt and leaves take {percent:.0f} % of the capacity of {many} of {swales} swales "
            f"within {count} years, of {named} first, in year {int(first[swale]) + 1}; "
            "water_years tells of each (silt_pct, desilted)"
        )
    return Finding(
        "silt_takes_room",
        "note",
        _TABLE,
        "",
        f"{message}: by {plan.run.climate.silt_kg_m3:g} kg of silt in each m³ of runoff and "
        f"{plan.run.climate.litter_mm:g} mm of rotted leaves a year under crowns, rules of thumb",
        "look after every large storm, bare ground above brings far more; dig out and reshape once "
        "a fifth is lost, never below the old base, and clear sills first",
    )


def _on_grazing(plan: Designed) -> Iterator[Finding]:
    """From which year on trees are out of reach."""
    trees = plan.trees
    if trees.lip.size == 0:
        return
    height = figures_of(trees.table, "height_m")
    wait = years_to_height(OUT_OF_REACH_M, height, figures_of(trees.table, "grown_years"))
    year = trees.year + np.ceil(wait[trees.species])
    never = sorted({trees.table[i].species for i in trees.species[np.isinf(year)].tolist()})
    message = f"stock reach leaves up to about {BROWSED_M:g} m"
    if np.isfinite(year).any():
        last = int(year[np.isfinite(year)].max())
        message += f"; in year {last} the last trees that grow so high are {OUT_OF_REACH_M:g} m"
    if never:
        message += f"; never so high grow {', '.join(never)}"
    yield Finding(
        "grazing_waits",
        "note",
        "trees",
        "",
        f"{message}. Heights grow as crowns do in the table of species",
        "keep stock out until then, or guard each tree; goats, camels and deer reach higher; never "
        "let stock into a wet trench or on to a sill",
    )


def _on_releases(plan: Designed) -> Iterator[Finding]:
    """Dams that are said to feed a swale that is not there."""
    for swale in released_m3(plan.inputs.features.dams, plan.placed.ids)[1]:
        yield Finding(
            "dam_release_unknown",
            "caution",
            "safe_points",
            "",
            f'a dam is said to release water to "{swale}": there is no such swale, and none is '
            "counted",
            "name a swale_id of this plan in release_swale of the layer dams",
        )


def _on_standing_water(plan: Designed, years: Years) -> Iterator[Finding]:
    """Swales in which water stands longer than the run file allows."""
    limit = plan.run.section.max_drain_h
    spells = years.sums[:, :, Sum.LONG_SPELLS].sum(axis=0)
    longest = years.sums[:, :, Sum.LONGEST_WET_H]
    for swale in np.flatnonzero(spells > 0.0).tolist():
        year = int(np.argmax(longest[:, swale]))
        often = "once" if spells[swale] == 1 else f"{spells[swale]:.0f} times"
        yield Finding(
            "water_stands_long",
            "caution",
            "swales",
            plan.placed.lines[swale].swale_id,
            f"followed day by day, water stands for over {limit:g} h {often} in "
            f"{longest.shape[0]} years, for {longest[year, swale]:.1f} h in year {year + 1}: "
            "mosquitoes breed in it, children and animals may drown",
            "see drains_slowly for what would help; keep grass short along it and children out, "
            "and ask what local codes say on standing water",
        )
