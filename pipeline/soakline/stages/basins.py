"""The swales as basins: level pools for any choice of sections."""

from dataclasses import replace

import numpy as np

from soakline.grid import FloatArray
from soakline.section.design import SectionDesign
from soakline.section.footprint import filled_ground
from soakline.section.trench import Trench, trenches_of
from soakline.stages.crossing import TrackWorks
from soakline.stages.laying import Laid, ponded_m2
from soakline.water.pools import Pools, pools_of

_LEAST_BASE_LENGTH_M = 0.1


class Basins:
    """The swales as basins.

    Parameters
    ----------
    laid : Laid
    design : sections to choose from
    tracks : TrackWorks; the fill of causeways holds no water
    coefficient : of the sills as weirs, m^0.5/s
    """

    def __init__(
        self, laid: Laid, design: SectionDesign, tracks: TrackWorks, coefficient: float
    ) -> None:
        self.laid, self.tracks, self.coefficient = laid, tracks, coefficient
        self.steps = _steps(
            [
                (dug,) if dug else design.on(texture).sections
                for texture, dug in zip(laid.texture, laid.dug, strict=True)
            ]
        )
        self._surface: dict[tuple[int, Trench], float] = {}
        self._choices: list[Pools] | None = None

    def ponded_m2(self, sections: tuple[Trench, ...]) -> FloatArray:
        """Water surfaces with a section each, each drawn once."""
        asked = list(enumerate(sections))
        if any(key not in self._surface for key in asked):
            trench = trenches_of(sections)
            stations = self.laid.pegs.stations
            filled = filled_ground(stations, trench, self.tracks.filled(sections))
            shore_m = trench.batter * self.laid.sill_drop_m
            drawn = ponded_m2(self.laid.pegs, shore_m, trench.top_width_m, filled)
            self._surface.update(zip(asked, drawn.tolist(), strict=True))
        return np.array([self._surface[key] for key in asked], dtype=float)

    def choices(self, sill_m: FloatArray) -> list[Pools]:
        """Pools of all swales with each step of their sections, water surfaces about right."""
        count = self.laid.length_m.size
        if self._choices is None:
            self._choices = [
                self.pools(
                    step,
                    self.laid.about_ponded_m2(trenches_of(step).top_width_m),
                    np.zeros(count),
                )
                for step in self.steps
            ]
        built = np.where(sill_m > 0.0, sill_m, self.laid.length_m)
        return [replace(own, sill_m=built) for own in self._choices]

    def pools(
        self, sections: tuple[Trench, ...], ponded_m2: FloatArray, sill_m: FloatArray
    ) -> Pools:
        """Level pools of the swales."""
        trench = trenches_of(sections)
        # The shortest lips hold no more than the slope of their ends leaves.
        open_m = self.laid.length_m - self.tracks.taken_m(sections)
        length = np.maximum(open_m, 2.0 * trench.batter * trench.depth_m + _LEAST_BASE_LENGTH_M)
        return pools_of(
            trench.base_width_m,
            trench.depth_m,
            trench.batter,
            length,
            trench.depth_m - self.laid.sill_drop_m,
            ponded_m2,
            self.laid.soak_m_h,
            sill_m,
            self.coefficient,
        )


def _steps(sections: list[tuple[Trench, ...]]) -> list[tuple[Trench, ...]]:
    """Each swale's own sections in as many steps as any has: its largest stands in at the end."""
    count = max((len(own) for own in sections), default=0)
    return [tuple(own[min(k, len(own) - 1)] for own in sections) for k in range(count)]
