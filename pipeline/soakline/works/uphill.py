"""Which swale's runoff would come to which other swale if the upper one were not there."""

import numpy as np

from soakline.terrain.compass import COLUMN_STEP, END, ROW_STEP
from soakline.terrain.flow import Uint8Array
from soakline.terrain.paths import LabelArray

LEAST_SHARE = 0.1
"""Of the cells of a lip that lead to another swale: less is left out as a stray."""


def uphill_pairs(
    burnt: LabelArray, label: LabelArray, direction: Uint8Array
) -> list[tuple[int, int]]:
    """Upper and lower swale wherever water that crosses a lip comes next to another.

    Parameters
    ----------
    burnt : (rows, columns) i + 1 on the lip of swale i
    label : (rows, columns) i + 1 where swale i is met first
    direction : (rows, columns) codes of `soakline.terrain.compass`

    Returns
    -------
    sorted pairs of indices, from at least `LEAST_SHARE` of the upper lip's cells
    """
    row, column = np.nonzero(burnt > 0)
    code = direction[row, column]
    runs_on = code < END
    row, column, code = row[runs_on], column[runs_on], code[runs_on]
    upper = burnt[row, column]
    lower = label[row + ROW_STEP[code], column + COLUMN_STEP[code]]
    cells = np.bincount(upper)
    other = (lower > 0) & (lower != upper)
    pairs, count = np.unique(
        np.column_stack([upper[other], lower[other]]), axis=0, return_counts=True
    )
    many = count >= LEAST_SHARE * cells[pairs[:, 0]]
    return [(int(above) - 1, int(below) - 1) for above, below in pairs[many]]
