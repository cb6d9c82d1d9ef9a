"""Overflow in one step: exits chosen, hollows checked, routes drawn."""

from dataclasses import dataclass

import numpy as np

from soakline.findings import Finding
from soakline.grid import BoolArray, FloatArray
from soakline.ids import hollow_id
from soakline.overflow.ranking import SillRules, Ways
from soakline.overflow.routes import EndShapes, Route, draw_routes
from soakline.overflow.sills import Outlets, choose_outlets, spills_of
from soakline.overflow.velocity import SoilResistance
from soakline.siting.ends import End
from soakline.siting.exits import Exit
from soakline.terrain.compass import COLUMN_STEP, END, ROW_STEP
from soakline.terrain.hollows import Hollows
from soakline.terrain.paths import first_intercept
from soakline.water.balance import StormBalance, SwaleWater, balance_storms, peak_bound_m3s
from soakline.water.network import Chain, chain_of
from soakline.water.storms import Storm

_PASSES_ON = ("drainage_line", "dam", "safe_point")


@dataclass(frozen=True, eq=False, slots=True)
class Overflow:
    """How the chain spills in every storm.

    Parameters
    ----------
    outlets, chain : Outlets and Chain
    balance : volumes of every storm
    routes : drawn and judged
    findings : on hollows that receive water
    """

    outlets: Outlets
    chain: Chain
    balance: StormBalance
    routes: list[Route]
    findings: tuple[Finding, ...]


def _passes_on(hollow: int, ways: Ways, hollows: Hollows) -> bool:
    """Whether what a full hollow spills runs on to a safe end that is no hollow and no swale."""
    direction = ways.direction
    top, bottom, left, right = (int(side) for side in hollows.box[hollow])
    row, column = np.argwhere(hollows.label[top : bottom + 1, left : right + 1] == hollow + 1)[0]
    cell = (top + int(row)) * direction.shape[1] + left + int(column)
    own = ways.end_map.number_of(End("hollow", hollow))
    goal = ways.end_map.goal.ravel()
    columns = direction.shape[1]
    flat = direction.ravel()
    while goal[cell] in (0, own):
        k = int(flat[cell])
        if k >= END:
            return False
        cell += int(ROW_STEP[k]) * columns + int(COLUMN_STEP[k])
    return ways.end_map.ends[goal[cell] - 1].kind in _PASSES_ON


def settle_overflow(
    exits: list[list[Exit]],
    ways: Ways,
    sill_level_m: FloatArray,
    shapes: EndShapes,
    hollows: Hollows,
    storms: tuple[Storm, ...],
    water: SwaleWater,
    curve_number: float,
    rules: SillRules,
    cover: str,
    soil: SoilResistance,
) -> Overflow:
    """Choose exits for the check storms' peaks, balance every storm, draw the routes.

    Parameters
    ----------
    exits : places to try, by swale
    ways : Ways
    sill_level_m : (swales,) m
    shapes : EndShapes
    hollows : Hollows
    storms : every storm
    water : SwaleWater
    curve_number : of the ground
    rules : SillRules
    cover, soil : rows of the table of permissible velocities

    Returns
    -------
    Overflow

    Notes
    -----
    A kept hollow is a safe end when half its volume takes its own catchment's runoff and all that
    is spilled into it in each check storm; else what it spills must run on to a safe end. A hollow
    that fails is taken off the list and the exits are chosen again.
    """
    check = [i for i, storm in enumerate(storms) if storm.purpose == "check"]
    alone = chain_of(water.dry_m2.size, [])
    own_peak = peak_bound_m3s(storms, water, alone, curve_number)[:, check].max(axis=1, initial=0.0)
    hollow_safe: BoolArray = hollows.kept.copy()
    findings: dict[int, Finding] = {}
    area_by_goal: FloatArray | None = None
    while True:
        outlets = choose_outlets(exits, ways, own_peak, hollow_safe, rules)
        chain = chain_of(water.dry_m2.size, spills_of(outlets))
        balance = balance_storms(storms, water, chain, curve_number)
        received: dict[int, FloatArray] = {}
        for i, own in enumerate(outlets.sills):
            for sill in own:
                end = ways.end_map.ends[sill.way.goal - 1] if sill.way.goal > 0 else None
                if end is not None and end.kind == "hollow":
                    spilled = sill.share * balance.overflow_m3[i, check]
                    received[end.index] = received.get(end.index, 0.0) + spilled
        if received and area_by_goal is None:
            label = first_intercept(ways.direction, ways.end_map.goal)
            counts = np.bincount(np.maximum(label, 0).ravel(), minlength=len(ways.end_map.ends) + 1)
            area_by_goal = counts.astype(float) * ways.grid.cell_area_m2
        failed = False
        for hollow, spilled in sorted(received.items()):
            assert area_by_goal is not None  # noqa: S101 - set above when anything is received
            number = ways.end_map.number_of(End("hollow", hollow))
            runoff = area_by_goal[number] * balance.excess_mm[check] / 1000.0
            most = float((runoff + spilled).max())
            room = float(hollows.volume_m3[hollow]) / 2.0
            if most <= room or not hollow_safe[hollow]:
                continue
            if _passes_on(hollow, ways, hollows):
                findings[hollow] = Finding(
                    "hollow_overflows",
                    "caution",
                    "hollows",
                    hollow_id(hollow),
                    f"receives {most:.0f} m³ in the check storm and has room for {room:.0f} m³ "
                    "when half full: it spills over its own outlet to a safe end further down",
                    "look at the outlet on site; it must stand the flow, or be armoured",
                )
            else:
                hollow_safe[hollow] = False
                failed = True
        if not failed:
            break
    return Overflow(
        outlets,
        chain,
        balance,
        draw_routes(outlets, ways, sill_level_m, shapes, rules, cover, soil),
        tuple(findings[h] for h in sorted(findings)),
    )
