"""Storm by storm what each swale does, and the storm that governs it."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from soakline.grid import FloatArray
from soakline.section.trench import Trench
from soakline.water.balance import StormBalance
from soakline.water.storms import Storm


@dataclass(frozen=True, eq=False, slots=True)
class SwaleResults:
    """Levels, peaks and times of every swale in every storm; (swales, storms) unless said.

    Parameters
    ----------
    peak_spill_m3s : 0 where the storm is held, else the bound
    max_level_m : highest water
    freeboard_m : settled crest less highest water
    drain_down_h : from the end of rain to empty
    governing : (swales,) index of the design storm that asks most
    """

    peak_spill_m3s: FloatArray
    max_level_m: FloatArray
    freeboard_m: FloatArray
    drain_down_h: FloatArray
    governing: npt.NDArray[np.int64]


def depth_holding_m(trench: Trench, length_m: float, volume_m3: FloatArray) -> FloatArray:
    """Depth of water above the base that holds given volumes, m; at most the trench's own depth."""
    depth = np.linspace(0.0, trench.depth_m, 101)
    return np.interp(volume_m3, trench.volume_below_m3(depth, length_m), depth)


def storm_results(
    storms: tuple[Storm, ...],
    balance: StormBalance,
    trench: Trench,
    length_m: FloatArray,
    level_m: FloatArray,
    sill_level_m: FloatArray,
    sill_length_m: FloatArray,
    crest_level_m: FloatArray,
    soak_m3_h: FloatArray,
    coefficient: float,
) -> SwaleResults:
    """Levels and times from the volumes of each storm.

    Parameters
    ----------
    storms : every storm
    balance : StormBalance
    trench : Trench
    length_m, level_m, sill_level_m, sill_length_m, crest_level_m : (swales,) m; a sill length of 0
        where there is none
    soak_m3_h : (swales,) through the base
    coefficient : weir coefficient, m^0.5/s

    Returns
    -------
    SwaleResults
    """
    peak = np.where(balance.overflow_m3 > 0, balance.peak_bound_m3s, 0.0)
    # Without a sill the water stands at the crest and what comes of it is not known.
    sill = np.where(sill_length_m > 0, sill_length_m, np.inf)
    head = (peak / (coefficient * sill[:, None])) ** (2.0 / 3.0)
    base = level_m - trench.depth_m
    held = np.stack(
        [
            base[i] + depth_holding_m(trench, float(length_m[i]), balance.stored_m3[i])
            for i in range(level_m.size)
        ]
        or [np.zeros((0, len(storms)))]
    ).reshape(level_m.size, len(storms))
    level = np.where(peak > 0, sill_level_m[:, None] + head, held)
    governing = np.zeros(level_m.size, dtype=np.int64)
    design = [i for i, storm in enumerate(storms) if storm.purpose == "design"]
    for swale in range(level_m.size):
        governing[swale] = max(
            design,
            key=lambda s: (
                balance.overflow_m3[swale, s],
                level[swale, s],
                balance.inflow_m3[swale, s],
                -storms[s].duration_min,
                -s,
            ),
        )
    return SwaleResults(
        peak_spill_m3s=peak,
        max_level_m=level,
        freeboard_m=crest_level_m[:, None] - level,
        drain_down_h=balance.stored_m3 / soak_m3_h[:, None],
        governing=governing,
    )
