"""The models seen as a list of keys: what each holds, in words."""

import json
from collections.abc import Iterator
from types import UnionType
from typing import Any, Literal, Union, get_args, get_origin

from pydantic.fields import FieldInfo

from soakline.runfile.keys import Keys, Number, Wording
from soakline.runfile.sections import RunFile

KeyPath = tuple[str, ...]

_KINDS: dict[Any, str] = {
    bool: "true or false",
    tuple: "a list of rising numbers, all over 0 %",
    dict: "a table of numbers",
    Union: "a file name, a list of file names, or a glob, as text",
    UnionType: "a file name, a list of file names, or a glob, as text",
}

LONGEST = 100
"""Characters of a value that an error message repeats."""


def section_model(field: FieldInfo) -> type[Keys] | None:
    """The model of a field that is a section; None for a plain key."""
    kind = field.annotation
    return kind if isinstance(kind, type) and issubclass(kind, Keys) else None


def sections(
    model: type[Keys] = RunFile, above: KeyPath = ()
) -> Iterator[tuple[KeyPath, type[Keys]]]:
    """Every section with its path, in the run file's order; a nested one follows its parent."""
    for name, field in model.model_fields.items():
        inner = section_model(field)
        if inner is not None:
            yield (*above, name), inner
            yield from sections(inner, (*above, name))


def plain_keys(model: type[Keys]) -> dict[str, FieldInfo]:
    """The keys of one section, without the sections nested in it."""
    return {k: f for k, f in model.model_fields.items() if section_model(f) is None}


def field_at(path: KeyPath) -> FieldInfo | None:
    """The field at a path such as ("siting", "setback_m", "dam"); None where there is none."""
    model: type[Keys] | None = RunFile
    field = None
    for name in path:
        field = model.model_fields.get(name) if model is not None else None
        if field is None:
            return None
        model = section_model(field)
    return field


def _number(kind: Any, metadata: list[Any]) -> Number | None:
    for item in metadata:
        if isinstance(item, Number):
            return item
    # In an optional key the range stands inside the union.
    for inner in get_args(kind):
        found = _number(inner, list(getattr(inner, "__metadata__", ())))
        if found is not None:
            return found
    return None


def number_of(field: FieldInfo) -> Number | None:
    """Unit and range of a numeric key; None for any other."""
    return _number(field.annotation, field.metadata)


def allowed(field: FieldInfo) -> str:
    """What a key may hold, in words, with range and unit."""
    number = number_of(field)
    if number is not None:
        return number.allowed()
    for item in field.metadata:
        if isinstance(item, Wording):
            return item.text
    kind = field.annotation
    if section_model(field) is not None:
        return "a section"
    if get_origin(kind) is Literal:
        return "one of " + ", ".join(shown(choice) for choice in get_args(kind))
    if kind in _KINDS or get_origin(kind) in _KINDS:
        return _KINDS[kind if kind in _KINDS else get_origin(kind)]
    if any(getattr(item, "min_length", None) for item in field.metadata):
        return "text, not empty"
    return "text"


def shown(value: Any) -> str:
    """A value as the run file would write it, cut short if it is long.

    Examples
    --------
    >>> shown(True), shown("loam"), shown((0.2, 1))
    ('true', '"loam"', '[0.2, 1]')
    """
    if isinstance(value, float):
        text = repr(value)
    else:
        text = json.dumps(value, ensure_ascii=False, default=str)
    return text if len(text) <= LONGEST else text[: LONGEST - 1] + "…"
