"""Codes of the eight neighbours, one place for every kernel.

Code k points k × 45° counter-clockwise from east: even codes are cardinal, odd ones diagonal.
"""

import numpy as np

ROW_STEP = np.array([0, -1, -1, -1, 0, 1, 1, 1], dtype=np.int64)
COLUMN_STEP = np.array([1, 1, 0, -1, -1, -1, 0, 1], dtype=np.int64)
DISTANCE_CELLS = np.array([1.0, np.sqrt(2.0)] * 4)

# Where nothing else tells two neighbours apart, the cardinal ones come first.
PREFERRED = np.array([0, 2, 4, 6, 1, 3, 5, 7], dtype=np.int64)
RANK = np.argsort(PREFERRED)

# Direction rasters are uint8: 0 to 7 a neighbour, END where water leaves the grid, VOID outside it.
END = 8
VOID = 255
