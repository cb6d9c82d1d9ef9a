"""Channels drawn as text: an arrow is the way down, "o" the outlet, a blank no channel."""

import numpy as np

from soakline.terrain.compass import COLUMN_STEP, END, ROW_STEP, VOID
from soakline.terrain.flow import Uint8Array

ARROWS = {"→": 0, "↗": 1, "↑": 2, "↖": 3, "←": 4, "↙": 5, "↓": 6, "↘": 7, "o": END}


def directions(drawing: str) -> Uint8Array:
    """Directions of a drawing, one letter a cell."""
    rows = drawing.strip("\n").splitlines()
    direction = np.full((len(rows), max(map(len, rows))), VOID, np.uint8)
    for r, row in enumerate(rows):
        for c, letter in enumerate(row):
            direction[r, c] = ARROWS.get(letter, VOID)
    return direction


def downstream_order(direction: Uint8Array) -> np.ndarray:
    """Flat indices of the channel's cells, each after all that drain to it."""

    def cells_below(cell: int) -> int:
        k = int(direction.ravel()[cell])
        step = int(ROW_STEP[k % 8] * direction.shape[1] + COLUMN_STEP[k % 8])
        return 0 if k == END else 1 + cells_below(cell + step)

    cells = np.flatnonzero(direction != VOID)
    return np.array(sorted(cells, key=lambda cell: -cells_below(int(cell))), dtype=np.int64)
