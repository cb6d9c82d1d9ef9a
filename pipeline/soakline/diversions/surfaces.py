"""The swale that each roof or paving drains to: by a given drain, by itself, or by a traced one."""

from collections.abc import Sequence

import numpy as np
import shapely

from soakline.diversions.catchments import Surface, burn_all, burn_beside
from soakline.diversions.course import NEAR_CELLS
from soakline.diversions.digging import Digging, could_be_shorter, dig, why_undrained
from soakline.diversions.diversion import NONE, Diversion
from soakline.diversions.outlets import Outlet, outlets_of
from soakline.diversions.receivers import first_met
from soakline.findings import Finding
from soakline.siting.catchments import Catchments
from soakline.terrain.cells import GeometryArray, cells_of
from soakline.terrain.paths import LabelArray

_NAMED = 10


def drain_surfaces(
    shapes: GeometryArray,
    names: Sequence[str],
    swale_ids: Sequence[str | None],
    lips: Catchments,
    given: Sequence[Diversion],
    digging: Digging,
) -> tuple[tuple[Surface, ...], tuple[Diversion, ...], tuple[Finding, ...]]:
    """Follow the water of every hard surface, tracing drains where it meets no swale by itself.

    Parameters
    ----------
    shapes : (n,) polygons, or None; each part of several is a surface of its own
    names : (n,)
    swale_ids : (n,) id of the swale that each is meant for, None for any
    lips : Catchments of the lips
    given : drains that the owner has drawn
    digging : Digging

    Returns
    -------
    surfaces in the order of their features; given and then traced drains; and what was found

    Notes
    -----
    A surface that a given drain begins at drains by it. Else its water runs down from the lowest
    place of its outline to the first swale or drain, unless another swale is named. Else a drain
    is traced from there. The lowest surfaces come first: what runs down from others may meet their
    drains, so that fewer are dug.
    """
    swales = len(digging.lines)
    there = [line.swale_id for line in digging.lines]
    outlets, findings = outlets_of(shapes, names, swale_ids, there, digging.terrain)
    if not outlets:
        return (), tuple(given), tuple(findings)
    hard = np.array([outlet.shape for outlet in outlets], dtype=object)
    diversions = list(given)
    lines = [drain.coordinates for drain in given]
    burnt = burn_all(lips.burnt, swales, lines, digging.terrain.grid)
    surfaces: dict[int, Surface] = {}
    by_itself: list[int] = []
    for at in sorted(range(len(outlets)), key=lambda i: (float(outlets[i].place[2]), i)):
        outlet, others = outlets[at], np.delete(hard, at)
        by_line = _by_a_line(outlet, given, digging)
        surface = by_line or _over_ground(outlet, diversions, burnt, digging)
        if surface.swale != NONE and outlet.wanted in (NONE, surface.swale):
            by_itself += [] if by_line else [at]
        elif by_line:
            findings.append(_not_as_named(outlet, surface.swale, digging))
        else:
            drain, traces = dig(outlet, diversions, others, digging, digging.grade)
            if drain is None:
                findings.append(
                    why_undrained(outlet, surface.swale, traces, diversions, others, digging)
                )
            else:
                findings += could_be_shorter(outlet, drain, diversions, others, digging)
                surface = Surface(outlet.name, outlet.shape, drain.swale, len(diversions))
                diversions.append(drain)
                label = swales + len(diversions)
                burn_beside(burnt, drain.coordinates, label, digging.terrain.grid)
        surfaces[at] = surface
    # A drain laid later may pass below a surface and take what would have run on.
    for at in sorted(by_itself):
        surfaces[at] = _over_ground(outlets[at], diversions, burnt, digging)
        if outlets[at].wanted not in (NONE, surfaces[at].swale):
            findings.append(_not_as_named(outlets[at], surfaces[at].swale, digging))
    findings += _by_themselves([surfaces[at] for at in sorted(by_itself)], digging)
    return tuple(surfaces[at] for at in range(len(outlets))), tuple(diversions), tuple(findings)


def _by_a_line(outlet: Outlet, given: Sequence[Diversion], digging: Digging) -> Surface | None:
    """A surface that a given drain begins at; None where none does."""
    for k, drain in enumerate(given):
        off = shapely.distance(shapely.points(drain.coordinates[0, :2]), outlet.shape)
        if off <= NEAR_CELLS * digging.terrain.grid.cell_m:
            return Surface(outlet.name, outlet.shape, drain.swale, k)
    return None


def _over_ground(
    outlet: Outlet, diversions: Sequence[Diversion], burnt: LabelArray, digging: Digging
) -> Surface:
    """A surface whose water runs down to the first swale or drain, if to any."""
    swales = len(digging.lines)
    cell = int(cells_of(digging.terrain.grid, outlet.place[:1], outlet.place[1:2])[0])
    none_ignored = np.zeros(swales + len(diversions) + 1, dtype=bool)
    met, _ = first_met(digging.terrain.flow.direction, burnt, cell, none_ignored)
    if met > swales:
        drain = int(met) - swales - 1
        return Surface(outlet.name, outlet.shape, diversions[drain].swale, drain)
    return Surface(outlet.name, outlet.shape, int(met) - 1 if met else NONE, NONE)


def _not_as_named(outlet: Outlet, swale: int, digging: Digging) -> Finding:
    return Finding(
        "hard_surface_undrained",
        "caution",
        "hard_surfaces",
        outlet.name,
        f"Hard surface {outlet.name} names swale {digging.lines[outlet.wanted].swale_id}, but a "
        f"diversion that takes its water leads to {digging.lines[swale].swale_id}; so it is "
        "planned.",
        "Draw the diversion to the swale that is named, or name the other one.",
    )


def _by_themselves(surfaces: Sequence[Surface], digging: Digging) -> list[Finding]:
    """One note on all surfaces whose water comes to a swale without a drain of their own."""
    if not surfaces:
        return []
    told = [f"{own.name} to {digging.lines[own.swale].swale_id}" for own in surfaces[:_NAMED]]
    if len(surfaces) > _NAMED:
        told.append(f"{len(surfaces) - _NAMED} more")
    return [
        Finding(
            "hard_surface_drains",
            "note",
            "hard_surfaces",
            "",
            f"Water of {len(surfaces)} of the hard surfaces comes to a swale over the ground, "
            f"without a drain of their own: {', '.join(told)}.",
            "See that it has a way there that does not cut the ground.",
        )
    ]
