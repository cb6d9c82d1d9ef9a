"""Values come back as they were, and nothing but values comes back."""

import io
import os
import pickle
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from pandas.core.groupby.base import OutputKey  # a dataclass, but none of ours

from soakline.quiet import nowhere
from soakline.runfile.sections import TerrainKeys
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


def there_and_back(value: object) -> object:
    """Unpack from bytes alone, nothing shared with the value."""
    packed = pack(value)
    return unpack(packed.tree, [memoryview(bytes(array)) for array in packed.arrays])


def test_every_kind_of_value_comes_back_as_it_was() -> None:
    value = everything()
    assert_same(value, there_and_back(value))


@given(trees)
def test_any_tree_comes_back_as_it_was(value: object) -> None:
    assert_same(value, there_and_back(value))


@pytest.mark.parametrize(
    "name", [name for name, own in arrays().items() if not own.dtype.hasobject]
)
def test_plain_arrays_are_not_in_the_tree(name: str) -> None:
    array = arrays()[name]
    (memory,) = pack(array).arrays
    assert memory.nbytes == array.nbytes


def test_arrays_are_read_only_before_and_after() -> None:
    value = everything()
    back = there_and_back(value)
    assert len(arrays_of(back)) == len(arrays_of(value)) > 30
    assert not any(array.flags.writeable for array in arrays_of(value))
    assert not any(array.flags.writeable for array in arrays_of(back))


def test_an_array_with_two_holders_has_two_holders_again() -> None:
    shared = np.arange(4.0)
    packed = pack((shared, [shared]))
    assert len(packed.arrays) == 1
    first, (second,) = unpack(packed.tree, packed.arrays)
    assert first is second


def test_arrays_lie_in_the_memory_that_is_given() -> None:
    packed = pack(np.arange(100.0))
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


def test_a_name_within_a_name_is_not_looked_up() -> None:
    # "csv" is a module that `soakline.tables` imports: reached through it, it is still not ours.
    tree = b"\x80\x05\x8c\x0fsoakline.tables\x8c\x0acsv.reader\x93."
    with pytest.raises(pickle.UnpicklingError, match="not rebuilt"):
        unpack(tree, ())
