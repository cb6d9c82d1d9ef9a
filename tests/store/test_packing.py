"""Values come back as they were, and nothing but values comes back."""

import io
import os
import pickle
from collections.abc import Callable
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from pandas.core.groupby.base import OutputKey  # a dataclass, but none of ours

from soakline.grid import Grid
from soakline.quiet import nowhere
from soakline.runfile.sections import TerrainKeys
from soakline.store import packing
from soakline.store.packing import NotKept, Packed, pack, unpack
from tests.store.values import arrays, arrays_of, assert_same, everything

numbers = st.none() | st.booleans() | st.integers() | st.floats() | st.text()
rasters = hnp.arrays(
    hnp.scalar_dtypes(), hnp.array_shapes(min_dims=0, max_dims=3, min_side=0, max_side=4)
)
trees = st.recursive(
    numbers | rasters,
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.tuples(inner, inner)
        | st.dictionaries(st.text(max_size=3), inner, max_size=3)
    ),
    max_leaves=8,
)


apart_from = pytest.mark.parametrize("apart_bytes", [0, packing._APART_BYTES])


def there_and_back(value: object, apart_bytes: int) -> object:
    """Unpack from bytes alone, nothing shared with the value."""
    with mock.patch.object(packing, "_APART_BYTES", apart_bytes):
        packed = pack(value)
    return unpack(packed.tree, [memoryview(bytes(array)) for array in packed.arrays])


@apart_from
def test_every_kind_of_value_comes_back_as_it_was(apart_bytes: int) -> None:
    value = everything()
    assert_same(value, there_and_back(value, apart_bytes))


@apart_from
@given(value=trees)
def test_any_tree_comes_back_as_it_was(value: object, apart_bytes: int) -> None:
    assert_same(value, there_and_back(value, apart_bytes))


@pytest.mark.parametrize("name", arrays())
def test_large_arrays_are_not_in_the_tree(name: str) -> None:
    array = np.resize(arrays()[name], (50, 400))
    if array.dtype.hasobject:
        assert pack(array).arrays == ()
        return
    packed = pack(array)
    assert [memory.nbytes for memory in packed.arrays] == [array.nbytes]
    assert len(packed.tree) < 400


@apart_from
def test_arrays_are_read_only_before_and_after(apart_bytes: int) -> None:
    value = everything()
    back = there_and_back(value, apart_bytes)
    assert len(arrays_of(back)) == len(arrays_of(value)) > 30
    assert not any(array.flags.writeable for array in arrays_of(value))
    assert not any(array.flags.writeable for array in arrays_of(back))


@pytest.mark.parametrize("count", [4, 4000])
def test_an_array_with_two_holders_has_two_holders_again(count: int) -> None:
    shared = np.arange(count)
    packed = pack((shared, [shared]))
    first, (second,) = unpack(packed.tree, packed.arrays)
    assert first is second


def test_arrays_lie_in_the_memory_that_is_given() -> None:
    packed = pack(np.arange(1000.0))
    memory = bytearray(packed.arrays[0])
    back = unpack(packed.tree, [memoryview(memory).toreadonly()])
    memory[:8] = np.float64(7.0).tobytes()
    assert back[0] == 7.0


@pytest.mark.parametrize(
    "value",
    [
        Path("dem.tif"),
        nowhere,
        TerrainKeys(),
        lambda: None,
        io.StringIO(),
        np.ma.masked_array([1.0], [True]),
        (1, {"deep": [Path("dem.tif")]}),
    ],
    ids=["path", "function", "section", "lambda", "file", "masked array", "deep inside"],
)
def test_what_would_not_come_back_is_not_kept(value: object) -> None:
    with pytest.raises(NotKept):
        pack(value)


class _Calls:
    """Is unpickled by calling something."""

    def __init__(self, what: Callable[..., Any], *arguments: object) -> None:
        self.how = what, arguments

    def __reduce__(self) -> tuple[Callable[..., Any], tuple[object, ...]]:
        return self.how


def calling(what: Callable[..., Any], *arguments: object) -> Packed:
    return Packed(pickle.dumps(_Calls(what, *arguments), protocol=5), ())


@pytest.mark.parametrize(
    ("what", "arguments"),
    [
        (os.system, ("touch {}",)),
        (os.mkdir, ("{}",)),
        (eval, ("open('{}', 'w')",)),
        (open, ("{}", "w")),
        (np.memmap, ("{}", "uint8", "w+", 0, 8)),
        (np.save, ("{}", 1)),
        (nowhere, ()),
        (OutputKey, ("{}", 1)),
    ],
    ids=lambda case: getattr(case, "__name__", ""),
)
def test_a_tree_can_name_nothing_to_run(
    what: Callable[..., Any], arguments: tuple[object, ...], tmp_path: Path
) -> None:
    made = tmp_path / "made"
    named = [own.format(made) if isinstance(own, str) else own for own in arguments]
    with pytest.raises(pickle.UnpicklingError, match="not rebuilt"):
        unpack(calling(what, *named).tree, ())
    assert not made.exists()


def names(module: str, name: str) -> bytes:
    """A tree that is nothing but a name."""
    parts = (b"\x8c" + bytes([len(text)]) + text.encode() for text in (module, name))
    return b"\x80\x05" + b"".join(parts) + b"\x93."


@pytest.mark.parametrize(
    ("module", "name"),
    [
        ("soakline.tables", "csv.reader"),  # a module that ours imports is not ours
        ("soakline.store.keys", "hashlib.sha256"),
        ("soakline.store.stage_store", "StageStore.kept"),
        ("numpy.f2py.__main__", "main"),
        ("os", "getcwd"),
    ],
)
def test_what_is_no_value_is_not_looked_up(module: str, name: str) -> None:
    with pytest.raises(pickle.UnpicklingError, match="not rebuilt"):
        unpack(names(module, name), ())


def test_a_value_of_ours_is_looked_up() -> None:
    assert unpack(names("soakline.grid", "Grid"), ()) is Grid
