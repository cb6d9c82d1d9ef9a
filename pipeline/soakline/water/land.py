"""Classes of ground that shed rain alike, and how much of each a catchment holds.

Runoff does not follow the curve number evenly: it is computed class by class and added by area. A
mean curve number understates it in any storm up to 200 mm, fourteen-fold where a tenth of a good
pasture is roofs and 75 mm fall.
"""

from dataclasses import dataclass

import numba
import numpy as np
import numpy.typing as npt

from soakline.grid import BoolArray, FloatArray
from soakline.terrain.compass import COLUMN_STEP, ROW_STEP
from soakline.terrain.flow import Uint8Array
from soakline.terrain.kinds import KindArray
from soakline.terrain.paths import CellArray, LabelArray

CountArray = npt.NDArray[np.int64]

HARD_CURVE_NUMBER = 98.0  # roofs and paving, [TR55]_ Table 2-2a


@dataclass(frozen=True, slots=True)
class GroundClass:
    """Ground that sheds rain alike.

    Parameters
    ----------
    label : what it is, for the record
    curve_number : for antecedent condition II
    texture : USDA texture, such as `sandy-loam`
    hard : a roof or paving, which no rain before makes wetter
    """

    label: str
    curve_number: float
    texture: str
    hard: bool = False


@dataclass(frozen=True, eq=False, slots=True)
class Land:
    """The ground by class.

    Parameters
    ----------
    classes : those that occur
    index : (rows, columns) unsigned, place of each cell's class in `classes`; None where there is
        one class only, the usual case, which costs no raster
    """

    classes: tuple[GroundClass, ...]
    index: KindArray | None = None

    @property
    def curve_number(self) -> FloatArray:
        """(classes,) for antecedent condition II."""
        return np.array([own.curve_number for own in self.classes])

    @property
    def commonest(self) -> int:
        """Place of the class that most cells have."""
        return 0 if self.index is None else int(np.bincount(self.index.ravel()).argmax())

    @property
    def hard(self) -> BoolArray:
        """(classes,) roofs and paving."""
        return np.array([own.hard for own in self.classes], dtype=bool)


@numba.njit(cache=True, nogil=True)
def _count(label: LabelArray, index: KindArray, swales: int, classes: int) -> CountArray:
    cells = np.zeros((swales, classes), np.int64)
    for row in range(label.shape[0]):
        for column in range(label.shape[1]):
            if label[row, column] > 0:
                cells[label[row, column] - 1, index[row, column]] += 1
    return cells


def area_by_class_m2(label: LabelArray, land: Land, swales: int, cell_area_m2: float) -> FloatArray:
    """Area of each class in each swale's catchment.

    Parameters
    ----------
    label : (rows, columns) int32; i + 1 in the catchment of swale i, 0 or less elsewhere
    land : Land, on the same grid
    swales : how many there are; no label is larger
    cell_area_m2 : m²

    Returns
    -------
    (swales, classes) m²; whole cells, which sum over the classes to the catchment's own cells
    """
    index = np.broadcast_to(np.uint8(0), label.shape) if land.index is None else land.index
    cells = _count(label, index, swales, len(land.classes))
    return cells.astype(np.float64) * cell_area_m2


@numba.njit(cache=True, nogil=True)
def _count_above(
    direction: Uint8Array, goal: LabelArray, cells: CellArray, index: KindArray, classes: int
) -> CountArray:
    rows, columns = direction.shape
    count = np.zeros(classes, np.int64)
    waiting = cells.copy()
    left = waiting.size
    while left > 0:
        left -= 1
        row, column = waiting[left] // columns, waiting[left] % columns
        count[index[row, column]] += 1
        if left + 8 > waiting.size:
            waiting = np.concatenate((waiting, np.empty(waiting.size + 8, np.int64)))
        for k in range(8):
            above, beside = row - ROW_STEP[k], column - COLUMN_STEP[k]
            if (
                0 <= above < rows
                and 0 <= beside < columns
                and direction[above, beside] == k
                and goal[above, beside] == 0
            ):
                waiting[left] = above * columns + beside
                left += 1
    return count


def area_above_m2(
    direction: Uint8Array, goal: LabelArray, cells: CellArray, land: Land, cell_area_m2: float
) -> FloatArray:
    """Area of each class whose water meets some cells before any other goal.

    Parameters
    ----------
    direction : (rows, columns) uint8
    goal : (rows, columns) int32; not 0 where water is met, at the cells too
    cells : flat indices; their own area counts
    land : Land, on the same grid
    cell_area_m2 : m²

    Returns
    -------
    (classes,) m²
    """
    index = np.broadcast_to(np.uint8(0), goal.shape) if land.index is None else land.index
    count = _count_above(direction, goal, cells, index, len(land.classes))
    return count.astype(np.float64) * cell_area_m2


def dry_area_m2(area_m2: FloatArray, ponded_m2: FloatArray, land: Land) -> FloatArray:
    """Area of each class outside a swale's own water surface, whose rain is all the swale's.

    Parameters
    ----------
    area_m2 : (swales, classes) of the catchments, water surface included, m²
    ponded_m2 : (swales,) water surface, m²
    land : Land

    Returns
    -------
    (swales, classes) m², not negative

    Notes
    -----
    Water stands in open ground: it is taken from the classes that are not hard, by their shares;
    from all of them where those are smaller than the water.
    """
    ponded = ponded_m2[:, None]
    open_m2 = np.where(land.hard, 0.0, area_m2)
    under = np.where(open_m2.sum(axis=1, keepdims=True) >= ponded, open_m2, area_m2)
    return np.maximum(area_m2 - _shares(under) * ponded, 0.0)


def _shares(area_m2: FloatArray) -> FloatArray:
    """Share of each class in its swale's area; 0 where there is none. One class: exactly 1."""
    total = area_m2.sum(axis=1, keepdims=True)
    share: FloatArray = np.divide(area_m2, total, out=np.zeros_like(area_m2), where=total > 0.0)
    return share
