"""A drain for one hard surface: traced both ways, and what to say where neither way leads."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from soakline.diversions.diversion import NONE, Diversion
from soakline.diversions.outlets import Outlet
from soakline.diversions.traced import (
    DEFAULT_GRADE,
    REASONS,
    Trace,
    as_diversion,
    shortest_of,
    targets_of,
    trace_both_ways,
)
from soakline.diversions.walk import TOO_LONG
from soakline.findings import Finding
from soakline.siting.lines import LipLine
from soakline.terrain.cells import GeometryArray
from soakline.terrain.condition import Terrain
from soakline.terrain.flow import Uint8Array

# Steeper grades that are tried to tell what would help: 1 in each of these.
_STEEPER = (200, 150, 100, 75, 50)
# A drain is called long where a grade of 1 in this would more than halve it.
_SHORTER = 100
_WINDS = ("east", "north-east", "north", "north-west", "west", "south-west", "south", "south-east")


@dataclass(frozen=True, eq=False, slots=True)
class Digging:
    """What drains are traced with.

    Parameters
    ----------
    lines : the lips
    terrain : Terrain
    ways : (rows, columns) uint8 of `drain_ways`
    reach_m : how far a swale's trench reaches uphill of its lip, m
    grade : fall along a traced drain, m/m
    """

    lines: Sequence[LipLine]
    terrain: Terrain
    ways: Uint8Array
    reach_m: float
    grade: float = DEFAULT_GRADE


def dig(
    outlet: Outlet,
    diversions: Sequence[Diversion],
    obstacles: GeometryArray,
    digging: Digging,
    grade: float,
) -> tuple[Diversion | None, tuple[Trace, Trace]]:
    """The shortest drain from an outlet to the swale that is named for it, or to any.

    Parameters
    ----------
    outlet : Outlet
    diversions : drains that there are; it may run into one of them
    obstacles : (n,) polygons that it may not pass
    digging : Digging
    grade : fall along it, m/m

    Returns
    -------
    the drain, None where neither way leads to a swale; and both traces
    """
    terrain = digging.terrain
    targets = targets_of(digging.lines, diversions, digging.reach_m, terrain.grid.cell_m)
    traces = trace_both_ways(
        outlet.place, targets, outlet.wanted, digging.ways, obstacles, terrain, grade
    )
    best = shortest_of(traces)
    if best is None:
        return None, traces
    drain = as_diversion(best, outlet.name, targets, len(digging.lines), grade, terrain)
    return drain, traces


def why_undrained(
    outlet: Outlet,
    swale: int,
    traces: Sequence[Trace],
    diversions: Sequence[Diversion],
    obstacles: GeometryArray,
    digging: Digging,
) -> Finding:
    """Caution on a surface for which no drain leads to a swale, or to the one named.

    Parameters
    ----------
    outlet : Outlet
    swale : index of the swale that its water comes to by itself; `NONE` where to none
    traces : those that led nowhere
    others : as for `dig`
    """
    aim = (
        "no swale"
        if outlet.wanted == NONE
        else f"not swale {digging.lines[outlet.wanted].swale_id}"
    )
    stays = (
        "It runs off unused"
        if swale == NONE
        else f"It runs to swale {digging.lines[swale].swale_id}"
    )
    return Finding(
        "hard_surface_undrained",
        "caution",
        "hard_surfaces",
        outlet.name,
        f"Hard surface {outlet.name}: its water meets {aim} by itself, nor would a drain at 1 in "
        f"{1.0 / digging.grade:.0f}: {' and '.join(_ended(trace) for trace in traces)}. {stays}.",
        _what_would_help(outlet, diversions, obstacles, digging),
    )


def could_be_shorter(
    outlet: Outlet,
    drain: Diversion,
    diversions: Sequence[Diversion],
    obstacles: GeometryArray,
    digging: Digging,
) -> list[Finding]:
    """A note on a drain that runs on beside its swale, far longer than a steeper one would be.

    Parameters
    ----------
    outlet : Outlet
    drain : what was dug for it
    others : as for `dig`
    """
    if digging.grade >= 1.0 / _SHORTER:
        return []
    steeper, _ = dig(outlet, diversions, obstacles, digging, 1.0 / _SHORTER)
    if steeper is None or steeper.length_m > drain.length_m / 2.0:
        return []
    return [
        Finding(
            "diversion_could_be_shorter",
            "note",
            "diversions",
            outlet.name,
            f"The drain traced for {outlet.name} is {drain.length_m:.0f} m long at 1 in "
            f"{1.0 / digging.grade:.0f}, to swale {digging.lines[drain.swale].swale_id}; at 1 in "
            f"{_SHORTER} it would be {steeper.length_m:.0f} m, to swale "
            f"{digging.lines[steeper.swale].swale_id}.",
            "Draw it steeper in layer diversions where the soil bears its velocity, or let it down "
            "to the swale over grass or stone.",
        )
    ]


def _ended(trace: Trace) -> str:
    """The wind that a trace leads to, and how it ended."""
    reason = REASONS[trace.how]
    east, north = trace.coordinates[-1, :2] - trace.coordinates[0, :2]
    if trace.length_m == 0.0:
        return f"one way it {reason} at once"
    wind = _WINDS[round(np.degrees(np.arctan2(north, east)) / 45.0) % 8]
    after = "" if trace.how == TOO_LONG else f" after {trace.length_m:.0f} m"
    return f"to the {wind} it {reason}{after}"


def _what_would_help(
    outlet: Outlet, diversions: Sequence[Diversion], obstacles: GeometryArray, digging: Digging
) -> str:
    """The gentlest steeper grade that would do; else other means."""
    for run in _STEEPER:
        if 1.0 / run <= digging.grade:
            continue
        drain, _ = dig(outlet, diversions, obstacles, digging, 1.0 / run)
        if drain is not None:
            return (
                f"A drain at 1 in {run} would come to swale {digging.lines[drain.swale].swale_id} "
                f"in {drain.length_m:.0f} m: draw it in layer diversions, and see that its "
                "velocity is borne."
            )
    return "Draw a diversion for it, lead its water in a pipe to a swale, or keep it in a tank."
