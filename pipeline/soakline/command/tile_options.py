"""Options of terrain in tiles, apart from what carries them out, which takes long to load."""

from dataclasses import dataclass

LEAST_SIDE, MOST_SIDE = 64, 16_384
LARGE_CELLS = 200_000_000
"""Grids over this are cut into tiles unless the user says otherwise: whole, the terrain alone would
take 31 bytes a cell."""


@dataclass(frozen=True, slots=True)
class TileOptions:
    """Whether the terrain is made in tiles, and by whom.

    Parameters
    ----------
    side : of a tile, cells; 0 for the whole grid at once, None for tiles where the grid is large
    scheduler : address of a Dask scheduler; None for threads of this process
    """

    side: int | None = None
    scheduler: str | None = None

    @property
    def asked(self) -> bool:
        """Whether the user wants tiles, however small the grid."""
        return bool(self.side) or self.scheduler is not None


def told_apart(options: TileOptions) -> TileOptions:
    """Hand options back that say one thing.

    Raises
    ------
    ValueError
        If tiles are too small, or a scheduler is named for none.
    """
    side = options.side
    if side is not None and side != 0 and side < LEAST_SIDE:
        raise ValueError(f"{side} is not 0 (whole) or from {LEAST_SIDE} to {MOST_SIDE} cells.")
    if side == 0 and options.scheduler is not None:
        raise ValueError("0 (whole) leaves nothing to do for --scheduler.")
    return options
