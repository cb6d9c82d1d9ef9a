"""Columns of a features layer: found, typed, checked against their range."""

import math
from difflib import get_close_matches
from numbers import Number

import numpy as np
import pandas as pd

from soakline.findings import Finding
from soakline.inputs.feature_layers import Column, Layer
from soakline.problems import InputProblem, InputRefused, ProblemCollector, printable

_TRUTH = {"true": True, "false": False, "1": True, "0": False, "1.0": True, "0.0": False}


def read_columns(
    table: pd.DataFrame, layer: Layer, file: str, key: str, findings: list[Finding]
) -> pd.DataFrame:
    """Bring a layer's table to the columns of the contract.

    Parameters
    ----------
    table : rows indexed by feature id, without geometry
    layer : what the layer may hold
    file, key : what problems name
    findings : a caution `column_not_read` is added where a column is nearly one of the contract

    Returns
    -------
    The contract's columns in its order: text as object, numbers as float64 with NaN, true/false as
    nullable boolean; null where the file has no such column.

    Raises
    ------
    InputRefused
        With every column of a wrong type and every row out of range.
    """
    collector = ProblemCollector()
    by_name = {str(name).lower(): name for name in table.columns}
    read: dict[str, pd.Series] = {}
    for column in layer.columns:
        given = table[by_name[column.name]] if column.name in by_name else None
        with collector.collecting():
            read[column.name] = _typed(given, table.index, column, file, key)
    collector.raise_if_any()
    absent = [c.name for c in layer.columns if c.name not in by_name]
    known = {column.name for column in layer.columns}
    for lower, name in by_name.items():
        near = [] if lower in known else get_close_matches(lower, absent, n=1, cutoff=0.75)
        if near:
            findings.append(_nearly(str(name), near[0], key))
    return pd.DataFrame(read, index=table.index)


def _typed(
    given: pd.Series | None, index: pd.Index, column: Column, file: str, key: str
) -> pd.Series:
    """One column in its own type, or refused."""
    if given is None:
        given = pd.Series([None] * len(index), index=index, dtype=object)
    if column.kind == "text":
        return _text(given)
    if column.kind == "truth":
        return _truth(given, column, file, key)
    return _number(given, column, file, key)


def _text(given: pd.Series) -> pd.Series:
    """Text as it stands; numbers (a house called 12) are names too. Blank text is null."""
    # Beside nulls, whole numbers come as 12.0.
    whole = [int(v) if isinstance(v, float) and v.is_integer() else v for v in given]
    # Names go into files for machines, and into tables of one line a row.
    values = [
        None if pd.isna(v) or not str(v).strip() else printable(str(v).strip()) for v in whole
    ]
    return pd.Series(values, index=given.index, dtype=object)


def _truth(given: pd.Series, column: Column, file: str, key: str) -> pd.Series:
    values: list[bool | None] = []
    for value in given:
        if pd.isna(value):
            values.append(None)
        elif str(value).lower() in _TRUTH:
            # Programs store truth as the integers 0 and 1 too, and beside nulls as text.
            values.append(_TRUTH[str(value).lower()])
        else:
            raise _wrong_type(column, value, file, key)
    return pd.Series(values, index=given.index, dtype="boolean")


def _number(given: pd.Series, column: Column, file: str, key: str) -> pd.Series:
    cells: list[object] = list(given)
    for value in cells:
        # In Python true and false are numbers too; in a column of widths they are a mistake.
        number = isinstance(value, Number) and not isinstance(value, bool | np.bool_)
        if not (number or value is None or value is pd.NA):
            raise _wrong_type(column, value, file, key)
    values = given.astype("float64")
    low = values <= column.low if column.above else values < column.low
    bad = low | (values > column.high) | np.isinf(values)
    if column.required:
        bad |= values.isna()
    problems = []
    for row, value in values[bad].items():
        found = "no value" if math.isnan(value) else f"{value:g} {column.unit}".rstrip()
        where = f"{key}, feature {row}, {column.name}"
        problems.append(InputProblem(file, where, found, column.allowed()))
    if problems:
        raise InputRefused(problems)
    return values


def _wrong_type(column: Column, value: object, file: str, key: str) -> InputRefused:
    found = f'a column that holds "{value}"'
    where = f"{key}, column {column.name}"
    return InputRefused([InputProblem(file, where, found, f"in every row {column.allowed()}")])


def _nearly(name: str, near: str, key: str) -> Finding:
    layer = key.rsplit(" ", 1)[-1]
    return Finding(
        "column_not_read",
        "caution",
        layer,
        "",
        f'Layer {layer}: column "{name}" was not read; the nearest one that is read is "{near}".',
        "Rename the column if it is meant, units included.",
    )
