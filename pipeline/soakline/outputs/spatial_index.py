"""A layer's R-tree, packed at once: entry by entry SQLite takes five times as long.

Layout of the tables behind an R-tree: SQLite documentation, "The SQLite R*Tree Module", section
"Shadow Tables", and the comments at the head of its `rtree.c`. Packing: Leutenegger, Lopez &
Edgington (1997), "STR: a simple and efficient algorithm for R-tree packing".
"""

import sqlite3
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from soakline.grid import FloatArray
from soakline.outputs.inserting import insert

__all__ = ["fill_index", "packed"]

Boxes = npt.NDArray[np.float32]
Numbers = npt.NDArray[np.int64]

_CELL = np.dtype([("id", ">i8"), ("box", ">f4", 4)])
_HEAD_BYTES = 4  # height of the tree, in the root alone, and number of cells
_ROOT = 1


@dataclass(frozen=True, eq=False, slots=True)
class Packing:
    """Nodes of an R-tree.

    Parameters
    ----------
    nodes : contents of node 1, which is the root, and of those after it
    parent : (nodes - 1,) number of the node over node 2 and each after it
    leaf : (entries,) number of the node that holds each entry
    """

    nodes: list[bytes]
    parent: Numbers
    leaf: Numbers


def packed(bounds: FloatArray, node_bytes: int) -> Packing:
    """Pack boxes into an R-tree.

    Parameters
    ----------
    bounds : (entries, 4) least x, least y, greatest x and greatest y of entries 1, 2 and so on
    node_bytes : size of a node

    Returns
    -------
    Packing
    """
    most = (node_bytes - _HEAD_BYTES) // _CELL.itemsize
    order = _in_tiles(bounds, most)
    ids, boxes = order + 1, _outward(bounds)[order]
    levels = [(ids, boxes)]
    while len(boxes) > most:
        boxes = _around(boxes, most)
        levels.append((np.empty(0, dtype=np.int64), boxes))
    # Numbered from the root down, so that the children of a level follow each other.
    first = _ROOT
    nodes: list[bytes] = []
    parents: list[Numbers] = []
    for height in range(len(levels) - 1, -1, -1):
        ids, boxes = levels[height]
        held = max(-(-len(boxes) // most), 1)
        over = first + np.arange(len(boxes), dtype=np.int64) // most
        if height:
            ids = first + held + np.arange(len(boxes), dtype=np.int64)
            parents.append(over)
        nodes += _contents(ids, boxes, held, most, node_bytes)
        first += held
    depth = (len(levels) - 1).to_bytes(2, "big")
    nodes[0] = depth + nodes[0][2:]
    leaf = np.empty(len(order), dtype=np.int64)
    leaf[order] = over
    return Packing(nodes, np.concatenate([np.empty(0, dtype=np.int64), *parents]), leaf)


def fill_index(database: sqlite3.Connection, index: str, bounds: FloatArray) -> None:
    """Fill an R-tree that stands empty.

    Parameters
    ----------
    database : the open file; the caller commits
    index : name of the virtual table, never from a user
    bounds : (entries, 4) as of `packed`
    """
    if len(bounds) == 0:
        return
    of = f'SELECT length(data) FROM "{index}_node" WHERE nodeno = {_ROOT}'  # noqa: S608
    (node_bytes,) = database.execute(of).fetchone()
    tree = packed(bounds, node_bytes)
    # The root of the empty tree makes room for that of the full one.
    database.execute(f'DELETE FROM "{index}_node"')  # noqa: S608
    for table, key, value, first, rows in (
        ("node", "nodeno", "data", _ROOT, tree.nodes),
        ("parent", "nodeno", "parentnode", _ROOT + 1, tree.parent.tolist()),
        ("rowid", "rowid", "nodeno", 1, tree.leaf.tolist()),
    ):
        keys = range(first, first + len(rows))
        insert(database, f"{index}_{table}", (key, value), (keys, rows))


def _in_tiles(bounds: FloatArray, most: int) -> Numbers:
    """Order that puts near boxes into one node: slices from west to east, each from south up."""
    middle = bounds[:, :2] + bounds[:, 2:]
    slices = np.ceil(np.sqrt(len(bounds) / most))
    eastward = np.argsort(middle[:, 0], kind="stable")
    of = np.empty(len(bounds), dtype=np.int64)
    of[eastward] = np.arange(len(bounds)) // max(most * int(slices), 1)
    return np.lexsort((middle[:, 1], of))


def _outward(bounds: FloatArray) -> Boxes:
    """Boxes in the order of an R-tree's columns, rounded so that none is smaller than it was."""
    low, high = bounds[:, :2].astype(np.float32), bounds[:, 2:].astype(np.float32)
    low = np.where(low > bounds[:, :2], np.nextafter(low, np.float32(-np.inf)), low)
    high = np.where(high < bounds[:, 2:], np.nextafter(high, np.float32(np.inf)), high)
    return np.stack([low, high], axis=2).reshape(-1, 4)


def _around(boxes: Boxes, most: int) -> Boxes:
    """Box of each node that holds so many of these in their order."""
    first = np.arange(0, len(boxes), most)
    low, high = boxes[:, 0::2], boxes[:, 1::2]
    return np.stack(
        [np.minimum.reduceat(low, first), np.maximum.reduceat(high, first)], axis=2
    ).reshape(-1, 4)


def _contents(ids: Numbers, boxes: Boxes, held: int, most: int, node_bytes: int) -> list[bytes]:
    """Nodes of one level, as bytes."""
    cells = np.zeros(held * most, dtype=_CELL)
    cells["id"][: len(ids)], cells["box"][: len(ids)] = ids, boxes
    count = np.minimum(len(ids) - most * np.arange(held), most)
    level = np.zeros((held, node_bytes), dtype=np.uint8)
    level[:, 2:_HEAD_BYTES] = count.astype(">u2").view(np.uint8).reshape(held, 2)
    size = most * _CELL.itemsize
    level[:, _HEAD_BYTES : _HEAD_BYTES + size] = cells.view(np.uint8).reshape(held, size)
    return [node.tobytes() for node in level]
