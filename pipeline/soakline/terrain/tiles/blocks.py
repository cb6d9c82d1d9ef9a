"""Tiles on disk: a file for each tile of each layer, that any worker can open."""

import secrets
import struct
from dataclasses import dataclass
from mmap import mmap
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import numpy.typing as npt

from soakline import lean

AnyArray = npt.NDArray[Any]

# Kind of number, rows and columns. Not numpy's own format: its head is read by Python's parser,
# which in Python 3.11 fails now and then where threads use it at once (python/cpython 106905).
_HEAD = struct.Struct("<8sqq40x")


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
        return self.folder / f"{layer}-{tile}.tile"

    def write(self, layer: str, tile: int, values: AnyArray) -> None:
        """Write a tile, whole or not at all: a worker may be lost over it, and another do it."""
        path = self.path(layer, tile)
        temporary = path.with_suffix(f".{secrets.token_hex(8)}.part")
        with temporary.open("wb") as file:
            file.write(_HEAD.pack(values.dtype.str.encode(), *values.shape))
            file.write(np.ascontiguousarray(values).data)
        temporary.replace(path)

    def read(self, layer: str, tile: int) -> AnyArray:
        """Read a tile into memory."""
        with self.path(layer, tile).open("rb") as file:
            dtype, shape = _kind_of(file)
            return np.fromfile(file, dtype).reshape(shape)

    def opened(self, layer: str, tile: int) -> AnyArray:
        """A tile as it lies on disk: what is changed in it is changed there."""
        with self.path(layer, tile).open("r+b") as file:
            dtype, shape = _kind_of(file)
            return _array_of(mmap(file.fileno(), 0), dtype, shape)

    def new(self, layer: str, dtype: "np.dtype[Any]", shape: tuple[int, int]) -> AnyArray:
        """A layer of the whole grid, as it lies on disk, to be written.

        It outlives its file, and its memory is given back when it comes to much (`lean`).
        """
        with self.path(layer, 0).open("w+b") as file:
            file.write(_HEAD.pack(dtype.str.encode(), *shape))
            file.truncate(_HEAD.size + dtype.itemsize * shape[0] * shape[1])
            memory = mmap(file.fileno(), 0)
        lean.note(memory)
        return _array_of(memory, dtype, shape)

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


def _kind_of(file: BinaryIO) -> tuple["np.dtype[Any]", tuple[int, int]]:
    dtype, rows, columns = _HEAD.unpack(file.read(_HEAD.size))
    return np.dtype(dtype.rstrip(b"\0").decode()), (rows, columns)


def _array_of(memory: mmap, dtype: "np.dtype[Any]", shape: tuple[int, int]) -> AnyArray:
    return np.frombuffer(memory, dtype, offset=_HEAD.size).reshape(shape)
