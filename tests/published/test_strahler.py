"""Stream order: Strahler 1957, Trans. American Geophysical Union 38:913-920."""

import numpy as np
import pytest

from soakline.terrain.compass import END, VOID
from soakline.terrain.drainage import _strahler
from tests.terrain.drawings import directions, downstream_order


def order_at_outlet(drawing: str) -> int:
    """Strahler number at the outlet of a drawn network."""
    direction = directions(drawing)
    channel = direction != VOID
    number, _ = _strahler(direction, downstream_order(direction), channel)
    return int(number[direction == END][0])


ONE = """
→→o
"""
ONE_AND_ONE = """
→↓
 →o
→↑
"""
TWO_AND_ONE = """
→↓
 →→→o
→↑ ↑
   ↑
"""
TWO_AND_TWO = """
→↓   ↓←
 →→o←←
→↑   ↑←
"""
TWO_TWO_ONE = """
→↓ ↓ ↓←
 →→o←←
→↑   ↑←
"""
THREE_AND_TWO = """
→↓   ↓←
 →→↓←←
→↑ ↓ ↑←
   ↓  ↓
   o←←←
      ↑
"""
THREE_ONES = """
 ↓
→o←
"""


@pytest.mark.parametrize(
    ("drawing", "order"),
    [
        (ONE, 1),
        (ONE_AND_ONE, 2),
        (TWO_AND_ONE, 2),
        (TWO_AND_TWO, 3),
        (TWO_TWO_ONE, 3),
        (THREE_AND_TWO, 3),
        (THREE_ONES, 2),
    ],
    ids=["source", "1 + 1", "2 + 1", "2 + 2", "2 + 2 + 1", "3 + 2", "1 + 1 + 1"],
)
def test_order_below_a_node(drawing: str, order: int) -> None:
    """Two of the highest number raise it by one, more of them raise it once. D."""
    assert order_at_outlet(drawing) == order


def test_a_full_binary_tree_of_8_sources_is_fourth_order() -> None:
    """Eight sources, then four pairs, two pairs, one. D."""
    assert [binary_tree_order(depth) for depth in (0, 1, 2, 3)] == [1, 2, 3, 4]


def binary_tree_order(depth: int) -> int:
    """Order at the root of a complete tree, laid out on a grid with one junction a row."""
    width = 2 ** (depth + 1)
    direction = np.full((2 * depth + 2, width), VOID, np.uint8)
    places = list(range(0, width, 2))
    row = 0
    for _ in range(depth):
        direction[row, places] = 6
        row += 1
        merged = []
        for left, right in zip(places[::2], places[1::2], strict=True):
            direction[row, left:right] = 0
            direction[row, right] = 6
            merged.append(right)
        places = merged
        row += 1
    direction[row, places] = END
    channel = direction != VOID
    number, _ = _strahler(direction, downstream_order(direction), channel)
    return int(number[direction == END][0])
