"""What a plan will cost in time, memory and disk: linear in the grid's cells."""

from dataclasses import dataclass

from soakline.command.tile_options import LARGE_CELLS

START_S = 6.0
"""Loading libraries and compiled code, and what does not depend on the grid."""
NS_PER_CELL = 2_160.0
"""All stages together, on two cores, with an empty stage store."""
START_BYTES = 350_000_000
MEMORY_BYTES_PER_CELL = 95.0
"""Highest of all stages, all processes together. Measured at 1, 4 and 25 million cells; trees and
swales differ from ground to ground."""
TILED_BYTES_PER_CELL = 40.0
"""The same in tiles. Measured at 4 and 25 million cells: 35 from the one to the other."""
DISK_BYTES_PER_CELL = 130.0
"""Mostly the stage store: heights, slopes, directions and catchments, as they lie in memory, and a
copy of the plan's rasters."""
START_DISK_BYTES = 5_000_000


@dataclass(frozen=True, slots=True)
class Estimate:
    """At most about what a plan takes.

    Parameters
    ----------
    cells : of the working grid
    seconds : wall time on two cores
    memory_bytes : highest use of memory
    disk_bytes : the plan and what is kept for the next run
    """

    cells: int
    seconds: float
    memory_bytes: int
    disk_bytes: int


def estimate(cells: int) -> Estimate:
    """Estimate a cold run.

    Parameters
    ----------
    cells : of the working grid

    Examples
    --------
    >>> estimate(25_000_000).seconds  # the budget is 60 s
    60.0
    """
    return Estimate(
        cells,
        START_S + cells * NS_PER_CELL * 1e-9,
        round(START_BYTES + cells * _memory_bytes_per_cell(cells)),
        round(START_DISK_BYTES + cells * DISK_BYTES_PER_CELL),
    )


def _memory_bytes_per_cell(cells: int) -> float:
    return MEMORY_BYTES_PER_CELL if cells <= LARGE_CELLS else TILED_BYTES_PER_CELL
