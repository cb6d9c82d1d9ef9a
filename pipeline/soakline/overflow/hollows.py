"""Kept hollows as ends: whether they hold what reaches them, or pass it on safely."""

from dataclasses import dataclass

from soakline.findings import Finding
from soakline.grid import BoolArray, FloatArray
from soakline.ids import hollow_id
from soakline.overflow.ranking import Ways
from soakline.overflow.sills import Outlets
from soakline.siting.ends import EndKind
from soakline.terrain.compass import COLUMN_STEP, END, ROW_STEP
from soakline.terrain.hollows import Hollows
from soakline.water.cascade import StormRouting
from soakline.water.event import Event

# Ends that take what a full hollow passes on; other hollows and swales were not asked for it.
_PASSES_ON = ("drainage_line", "dam", "safe_point")


@dataclass(frozen=True, eq=False, slots=True)
class HollowCheck:
    """What came of asking the hollows.

    Parameters
    ----------
    findings : cautions on those that spill on
    safe : (hollows,) bool; those that may be ends
    """

    findings: tuple[Finding, ...]
    safe: BoolArray


def check_hollows(
    before: HollowCheck,
    outlets: Outlets,
    ways: Ways,
    hollows: Hollows,
    area_m2: dict[int, FloatArray],
    event: Event,
    storms: list[int],
    routing: StormRouting,
    *,
    edge_allowed: bool,
) -> HollowCheck:
    """Ask every hollow that water is spilled into.

    Parameters
    ----------
    before : HollowCheck of the round before; what failed stays so
    outlets, ways, hollows : how the chain spills
    area_m2 : by kept hollow (classes,) ground that drains to it
    event : Event
    storms : check storms that were routed
    routing : of these storms
    edge_allowed : whether water may leave over the property's edge, a neighbour consenting

    Returns
    -------
    HollowCheck

    Notes
    -----
    A kept hollow is a safe end when half its volume takes its own catchment's runoff and all that
    is spilled into it in each check storm; else what it spills must run on to a safe end.
    """
    received: dict[int, FloatArray] = {}
    for i, own in enumerate(outlets.sills):
        for sill in own:
            end = ways.end_map.ends[sill.way.goal - 1] if sill.way.goal > 0 else None
            if end is not None and end.kind == "hollow":
                spilled = sill.share * routing.overflow_m3[i]
                received[sill.way.goal] = received.get(sill.way.goal, 0.0) + spilled
    safe = before.safe.copy()
    findings = []
    for goal, spilled in sorted(received.items()):
        hollow = ways.end_map.ends[goal - 1].index
        runoff = area_m2[hollow] @ event.excess_mm[:, storms] / 1000.0
        most = float((runoff + spilled).max())
        room = float(hollows.volume_m3[hollow]) / 2.0
        if most <= room:
            continue
        onward = _passes_on_to(goal, ways, int(hollows.of(hollow)[0]))
        if onward in _PASSES_ON or (onward == "property_edge" and edge_allowed):
            where = (
                "over the property's edge, with consent"
                if onward == "property_edge"
                else "to a safe end further down"
            )
            findings.append(
                Finding(
                    "hollow_overflows",
                    "caution",
                    "hollows",
                    hollow_id(hollow),
                    f"receives {most:.0f} m³ in the check storm and has room for {room:.0f} m³ "
                    f"when half full: it spills over its own outlet {where}",
                    "look at the outlet on site; it must stand the flow, or be armoured",
                )
            )
        else:
            safe[hollow] = False
    return HollowCheck(tuple(findings), safe)


def _passes_on_to(own: int, ways: Ways, cell: int) -> EndKind | None:
    """What a full hollow's overflow comes to first; None where it leaves the model before.

    Parameters
    ----------
    own : the hollow's value in the end map
    ways : Ways
    cell : one of the hollow's, as a flat index
    """
    direction = ways.direction
    goal = ways.end_map.goal.ravel()
    columns = direction.shape[1]
    flat = direction.ravel()
    while goal[cell] in (0, own):
        k = int(flat[cell])
        if k >= END:
            return None
        cell += int(ROW_STEP[k]) * columns + int(COLUMN_STEP[k])
    return ways.end_map.ends[int(goal[cell]) - 1].kind
