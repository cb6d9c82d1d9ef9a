"""Swales that are dug alike, and so share a drawing."""

from dataclasses import dataclass

import numpy as np

from soakline.setout.plan import SetOutPlan
from soakline.setout.swale import Swale


@dataclass(frozen=True, eq=False, slots=True)
class SectionType:
    """Swales that share base, depth, batter and berm.

    Parameters
    ----------
    number : from 1
    swales : in the plan's order
    """

    number: int
    swales: tuple[Swale, ...]

    @property
    def drawn(self) -> Swale:
        """The one with the highest face, which is the one to be careful about."""
        return max(self.swales, key=lambda swale: swale.face_height_m)

    @property
    def peg(self) -> int:
        """The peg of that swale at which the face is highest."""
        return int(np.argmax(self.drawn.beside.daylight_above_m))


def section_types(plan: SetOutPlan) -> tuple[SectionType, ...]:
    """Types of section in the order in which they are met along the plan."""
    groups: dict[tuple[float, float, float, float, bool], list[Swale]] = {}
    for swale in plan.swales:
        own = swale.trench
        shape = (round(own.base_width_m, 3), round(own.depth_m, 3), round(own.batter, 3))
        berm = round(swale.mound.berm_m, 3)
        groups.setdefault((*shape, berm, swale.crest_height_m > 0), []).append(swale)
    return tuple(
        SectionType(number, tuple(swales)) for number, swales in enumerate(groups.values(), 1)
    )
