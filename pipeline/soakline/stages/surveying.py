"""Swales as they were dug: a lip that was measured holds water up to its lowest place."""

from dataclasses import dataclass, replace
from difflib import get_close_matches

import numpy as np

from soakline.grid import BoolArray, FloatArray
from soakline.inputs.as_built import AsBuilt, MeasuredLevel
from soakline.overflow.ranking import LONGEST_SILL_M, Ways
from soakline.problems import ProblemCollector
from soakline.section.strips import empty_areas
from soakline.section.trench import Trench, trenches_of
from soakline.siting.exits import Exits, exits_at
from soakline.siting.stretches import AT_END_M, Stretch
from soakline.stages.laying import Laid, ponded_m2

# Levels closer than this are one.
_SAME_LEVEL_M = 0.001
# Water that is shallower than this is none to plan with.
_LEAST_WATER_M = 0.02
# A lip farther above its level was measured from another datum.
_HIGHEST_OVER_M = 2.0


@dataclass(frozen=True, eq=False, slots=True)
class LipSurvey:
    """What was measured of each lip.

    Parameters
    ----------
    lowest_m : (swales,) lowest level; NaN where the lip was not measured
    chainage_m : (swales,) of it, of places as low the first
    places_m : of each swale, chainages of all places as low
    """

    lowest_m: FloatArray
    chainage_m: FloatArray
    places_m: tuple[tuple[float, ...], ...]

    @property
    def measured(self) -> BoolArray:
        """Swales whose lip was measured; (swales,)."""
        return ~np.isnan(self.lowest_m)

    def spills_m(self, sill_level_m: FloatArray) -> BoolArray:
        """Swales whose water leaves over the lowest place before it comes to the sill."""
        return self.measured & (self.lowest_m < sill_level_m - _SAME_LEVEL_M)


def not_surveyed(swales: int) -> LipSurvey:
    """No lip was measured."""
    nothing = np.full(swales, np.nan)
    return LipSurvey(nothing, nothing.copy(), ((),) * swales)


def survey_of(as_built: AsBuilt, laid: Laid, sections: tuple[Trench, ...]) -> LipSurvey:
    """Measured levels on the lips of a plan.

    Parameters
    ----------
    as_built : AsBuilt
    laid : Laid
    sections : of each swale

    Raises
    ------
    InputRefused
        With every id that is no swale's and, for each swale, the first chainage beyond the end of
        its lip and the first level at or below the base of its trench, or far above its lip.
    """
    ids = laid.placed.ids
    number = {own: i for i, own in enumerate(ids)}
    base_m = laid.level_m - trenches_of(sections).depth_m
    lengths = dict(zip(ids, laid.length_m.tolist(), strict=True))
    problems = ProblemCollector(as_built.beyond_ends(lengths))
    told: set[tuple[str, str]] = set()
    own: list[list[tuple[float, float]]] = [[] for _ in ids]
    for row in as_built.levels:
        i = number.get(row.swale_id)

        def wrong(column: str, found: str, allowed: str, row: MeasuredLevel = row) -> None:
            """Tell what is wrong, once for each swale: all its rows may be."""
            if (row.swale_id, column) not in told:
                problems.add(as_built.problem(row, column, found, allowed))
            told.add((row.swale_id, column))

        if i is None:
            near = get_close_matches(row.swale_id, ids, n=1)
            allowed = "a swale of this plan" + (f"; the nearest is {near[0]}" if near else "")
            wrong("swale_id", f'"{row.swale_id}"', allowed)
            continue
        low, high = float(base_m[i]) + _LEAST_WATER_M, float(laid.level_m[i]) + _HIGHEST_OVER_M
        if not low <= row.level_m <= high:
            allowed = (
                f"{low:.2f} to {high:.2f} m for {row.swale_id}: over its base, and not "
                f"{_HIGHEST_OVER_M:g} m over its level of {laid.level_m[i]:.2f} m"
            )
            wrong("level_m", f"{row.level_m:g} m", allowed)
        own[i].append((min(row.chainage_m, float(laid.length_m[i])), row.level_m))
    problems.raise_if_any()
    lowest = np.array([min((level for _, level in places), default=np.nan) for places in own])
    found = tuple(
        tuple(sorted(at for at, level in places if level <= low + _SAME_LEVEL_M))
        for places, low in zip(own, lowest.tolist(), strict=True)
    )
    first = np.array([places[0] if places else np.nan for places in found])
    return LipSurvey(lowest, first, found)


def laid_as_dug(laid: Laid, survey: LipSurvey, sections: tuple[Trench, ...], ways: Ways) -> Laid:
    """The swales with the water that their lips really hold.

    Parameters
    ----------
    laid : as the plan would have them
    survey : LipSurvey
    sections : of each swale; those that were measured are dug and keep theirs
    ways : Ways

    Returns
    -------
    Laid; where the lip is lower than the sill the water leaves there, and there alone; so it does
    where the ground as it was has no place for a sill
    """
    measured, low = survey.measured, survey.spills_m(laid.level_m - laid.sill_drop_m)
    drop = np.where(low, laid.level_m - np.where(low, survey.lowest_m, 0.0), laid.sill_drop_m)
    nowhere = np.diff(laid.placed.exits.first) == 0
    moved = low | (measured & nowhere)
    trench = trenches_of(sections)
    drawn = [
        ponded_m2(
            laid.pegs,
            trench.batter * drop,
            np.where(measured, trench.top_width_m, width),
            empty_areas(measured.size),
        )
        for width in laid.drawn_width_m
    ]
    dug = zip(laid.dug, sections, measured.tolist(), strict=True)
    return replace(
        laid,
        placed=replace(laid.placed, exits=_leaving(laid, survey, moved, ways)),
        sill_drop_m=drop,
        dug=tuple(section if is_dug else before for before, section, is_dug in dug),
        drawn_m2=np.where(measured[:, None], np.column_stack(drawn), laid.drawn_m2),
    )


def _leaving(laid: Laid, survey: LipSurvey, moved: BoolArray, ways: Ways) -> Exits:
    """Exits of all swales, those of some only where their lips were measured lowest."""
    exits, half = laid.placed.exits, LONGEST_SILL_M / 2.0
    places = [
        (own.swale, own.along_m, own.stretch, own.at_end)
        for own in map(exits.one, np.flatnonzero(~moved[exits.swale]).tolist())
    ]
    for i in np.flatnonzero(moved).tolist():
        length = float(laid.length_m[i])
        for at in survey.places_m[i]:
            # Room for the longest sill about it.
            stretch = Stretch(max(0.0, at - half), min(length, at + half), False)
            places.append((i, at, stretch, at <= AT_END_M or at >= length - AT_END_M))
    places.sort(key=lambda place: place[0])
    return exits_at(ways.ground, places)
