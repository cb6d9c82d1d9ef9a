"""What processes of their own do to one store in the tests."""

from pathlib import Path

import numpy as np

from soakline.store.keys import key_of
from tests.store.values import opened

CELLS = 200_000


def keep_in_turn(folder: Path, rounds: int) -> tuple[list[str], int]:
    """Ask for the same results as every other process; what was told, and how many were loaded."""
    told: list[str] = []
    store = opened(folder, told)
    for number in range(rounds):
        value = store.kept("terrain", key_of(number), lambda n=number: np.full(CELLS, n))
        assert (value == number).all()
    return told, len(store.loaded)


def keep_in_little_room(folder: Path, first: int, rounds: int) -> list[str]:
    """Make results under a limit that drops those of others, and look at all of them to the end."""
    told: list[str] = []
    values = []
    for number in range(first, first + rounds):
        store = opened(folder, told, limit_gib=3 * 8 * CELLS / 2**30)
        own = store.kept("terrain", key_of(number % 7), lambda n=number: np.full(CELLS, n % 7))
        values.append((number % 7, own))
        assert all((value == n).all() for n, value in values)
    return told
