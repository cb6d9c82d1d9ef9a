"""Storm by storm what each swale does, and the storm that governs it."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from soakline.grid import FloatArray
from soakline.water.cascade import StormRouting
from soakline.water.event import Event


@dataclass(frozen=True, eq=False, slots=True)
class SwaleResults:
    """Every swale in every storm; (swales, storms) unless said.

    Parameters
    ----------
    routing : StormRouting
    runoff_m3 : from the dry ground
    max_level_m : highest water
    freeboard_m : settled crest less highest water
    governing : (swales,) index of the design storm that asks most
    """

    routing: StormRouting
    runoff_m3: FloatArray
    max_level_m: FloatArray
    freeboard_m: FloatArray
    governing: npt.NDArray[np.int64]


def results_of(
    event: Event,
    dry_m2: FloatArray,
    routing: StormRouting,
    base_level_m: FloatArray,
    crest_level_m: FloatArray,
) -> SwaleResults:
    """Levels of each storm, and the storm that governs each swale.

    Parameters
    ----------
    event : Event
    dry_m2 : (swales, classes) ground that sheds
    routing : StormRouting of all storms
    base_level_m, crest_level_m : (swales,) m

    Returns
    -------
    SwaleResults
    """
    level = base_level_m[:, None] + routing.max_depth_m
    design = event.of("design")
    governing = np.zeros(base_level_m.size, dtype=np.int64)
    for swale in range(base_level_m.size):
        governing[swale] = max(
            design,
            key=lambda s: (
                routing.overflow_m3[swale, s],
                level[swale, s],
                routing.inflow_m3[swale, s],
                -event.storms[s].duration_min,
                -s,
            ),
        )
    return SwaleResults(
        routing,
        dry_m2 @ event.excess_mm / 1000.0,
        level,
        crest_level_m[:, None] - level,
        governing,
    )
