"""Tiles on disk: a file for each tile of each layer, that any worker can open."""

import secrets
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

AnyArray = npt.NDArray[Any]


@dataclass(frozen=True, slots=True)
class Blocks:
    """A folder of tiles, the same path for all workers.

    Parameters
    ----------
    folder : exists
    """

    folder: Path

    def path(self, layer: str, tile: int) -> Path:
        """File of one tile."""
        return self.folder / f"{layer}-{tile}.npy"

    def write(self, layer: str, tile: int, values: AnyArray) -> None:
        """Write a tile, whole or not at all: a worker may be lost over it, and another do it."""
        path = self.path(layer, tile)
        temporary = path.with_suffix(f".{secrets.token_hex(8)}.part")
        with temporary.open("wb") as file:
            np.save(file, values)
        temporary.replace(path)

    def read(self, layer: str, tile: int) -> AnyArray:
        """Read a tile into memory."""
        return np.asarray(np.load(self.path(layer, tile)))

    def opened(self, layer: str, tile: int) -> AnyArray:
        """A tile as it lies on disk: what is changed in it is changed there."""
        return np.asarray(np.load(self.path(layer, tile), mmap_mode="r+"))

    def begin(self, tile: int, turn: int) -> None:
        """Note that a turn with a tile begins, which changes its files.

        Raises
        ------
        FileExistsError
            If it has begun before: its worker was lost, and what it left is of no use. The tile is
            to be made anew.
        """
        self.path("turn", tile).with_suffix(f".{turn}").touch(exist_ok=False)

    def drop(self, layer: str, tile: int) -> None:
        """Remove a tile; nothing where it is not there."""
        self.path(layer, tile).unlink(missing_ok=True)
