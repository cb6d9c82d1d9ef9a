"""Phases of building that the owner has drawn up: a column of the layer of given swales."""

from collections.abc import Mapping
from difflib import get_close_matches
from pathlib import Path

import numpy as np
import pandas as pd
import pyogrio
from pyogrio.errors import DataLayerError, DataSourceError

from soakline.inputs.given_swales import LAYER, ids_apart
from soakline.inputs.vector_files import layer_names
from soakline.problems import InputProblem, InputRefused

PHASE_KEY = "earthworks.phase"
_ALLOWED = "whole numbers from 1, or empty for swales that are dug last"


def read_phases(path: Path, column: str) -> Mapping[str, int]:
    """Phase by the id of each given swale that has one.

    Parameters
    ----------
    path : the features file
    column : of its layer `given_swales`

    Returns
    -------
    numbers from 1 by id; ids of pieces of a split line are those that the plan gives them

    Raises
    ------
    InputRefused
        If there is no such layer or column, or a number is not a whole one from 1.
    """
    where = str(path)
    if LAYER not in layer_names(path, PHASE_KEY):
        raise InputRefused([no_layer(where, column)])
    try:
        table = pyogrio.read_dataframe(path.absolute(), layer=LAYER, read_geometry=False)
    except (DataSourceError, DataLayerError):
        problem = InputProblem(where, PHASE_KEY, f"layer {LAYER}, not readable", "a layer")
        raise InputRefused([problem]) from None
    by_name = {str(name).lower(): name for name in table.columns}
    if column.lower() not in by_name:
        near = get_close_matches(column.lower(), ["budget", "year", *by_name], n=1, cutoff=0.0)
        found = f'"{column}", no column of layer {LAYER}'
        allowed = f'"", "budget", "year", or one of {", ".join(map(str, table.columns)) or "none"}'
        nearest = f'The nearest is "{near[0]}".' if near else ""
        raise InputRefused([InputProblem(where, PHASE_KEY, found, allowed, nearest)])
    numbers = _numbers(table[by_name[column.lower()]], where, column)
    ids = table[by_name["swale_id"]] if "swale_id" in by_name else [None] * len(table)
    named = ids_apart([None if pd.isna(own) else str(own).strip() or None for own in ids])
    return {
        own: int(number)
        for own, number in zip(named, numbers, strict=True)
        if own and np.isfinite(number)
    }


def no_layer(where: str, column: str) -> InputProblem:
    """Where there is no layer of given swales, no column of it can be asked for."""
    found = f'"{column}", and no layer {LAYER}'
    allowed = f'"", "budget", "year", or a column of the layer {LAYER} of property.features'
    return InputProblem(where, PHASE_KEY, found, allowed)


def _numbers(given: pd.Series, where: str, column: str) -> pd.Series:
    numbers = pd.to_numeric(given, errors="coerce").astype(float)
    bad = (given.notna() & numbers.isna()) | (numbers < 1.0) | (numbers % 1.0 > 0.0)
    if bad.any():
        key = f"{PHASE_KEY}, layer {LAYER}, column {column}"
        found = ", ".join(f'"{own}"' for own in given[bad].unique()[:5])
        raise InputRefused([InputProblem(where, key, found, _ALLOWED)])
    return numbers
