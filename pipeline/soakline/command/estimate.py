"""What a plan will cost in time, memory and disk: linear in the grid's cells."""

from dataclasses import dataclass

START_S = 6.0
"""Loading libraries and compiled code, and what does not depend on the grid."""
NS_PER_CELL = 2_160.0
"""All stages together, on two cores, with an empty stage store."""
START_BYTES = 400_000_000
MEMORY_BYTES_PER_CELL = 140.0
"""Highest of all stages: 14 GiB at 100 million cells."""
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
        round(START_BYTES + cells * MEMORY_BYTES_PER_CELL),
        round(START_DISK_BYTES + cells * DISK_BYTES_PER_CELL),
    )
