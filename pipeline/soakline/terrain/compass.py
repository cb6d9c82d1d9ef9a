"""Codes of the eight neighbours, one place for every kernel.

Code k points k × 45° counter-clockwise from east: even codes are cardinal, odd ones diagonal.
"""

import numpy as np

ROW_STEP = np.array([0, -1, -1, -1, 0, 1, 1, 1], dtype=np.int64)
COLUMN_STEP = np.array([1, 1, 0, -1, -1, -1, 0, 1], dtype=np.int64)
DISTANCE_CELLS = np.array([1.0, np.sqrt(2.0)] * 4)

# Direction rasters are uint8: 0 to 7 a neighbour, END where water leaves the grid, VOID outside it.
END = 8
VOID = 255
