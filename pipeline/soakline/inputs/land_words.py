"""Words of `soils` and `land_cover`: in the tables' spelling, or refused with the nearest one."""

import re
from collections.abc import Iterable
from difflib import get_close_matches

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from soakline import tables
from soakline.problems import InputProblem, InputRefused, ProblemCollector
from soakline.runfile.keys import TEXTURES, canonical_texture
from soakline.runfile.sections import LandKeys

GROUPS = ("A", "B", "C", "D")
"""Hydrologic soil groups, from the ground that sheds least to that which sheds most."""

LEAST_CURVE_NUMBER, MOST_CURVE_NUMBER = 30.0, 100.0
_NUMBERS = f"a number from {LEAST_CURVE_NUMBER:g} to {MOST_CURVE_NUMBER:g}, or empty"
_NAMED_ROWS = 5


def checked_words(table: pd.DataFrame, layer: str, file: str, key: str) -> pd.DataFrame:
    """Bring what a layer tells of runoff to the spelling of the tables.

    Parameters
    ----------
    table : the layer's columns by feature id, as `read_columns` gives them
    layer : `soils`, `land_cover`, or another one, which passes as it is
    file, key : what problems name

    Returns
    -------
    the same rows: texture and cover with hyphens in lower case, hydrologic group a capital

    Raises
    ------
    InputRefused
        With every word that no table has and every curve number out of range.
    """
    collector = ProblemCollector()
    checked = table.copy()
    for column, known in _words(layer).items():
        with collector.collecting():
            checked[column] = _spelt(table[column], known, file, key)
    if layer == "land_cover":
        number = table["curve_number"]
        wrong = number[(number < LEAST_CURVE_NUMBER) | (number > MOST_CURVE_NUMBER)]
        for row, value in wrong.items():
            where = f"{key}, feature {row}, curve_number"
            collector.add(InputProblem(file, where, f"{value:g}", _NUMBERS))
    collector.raise_if_any()
    return checked


def _spelt(given: pd.Series, known: tuple[str, ...], file: str, key: str) -> pd.Series:
    """One column in the spelling of its table, a problem for each word that is not in it."""
    spell = str.upper if known == GROUPS else canonical_texture
    spelt = {word: str(spell(word)) for word in given if isinstance(word, str)}
    problems = []
    for own, word in spelt.items():
        if word not in known:
            where = f"{key}, {rows_text(given.index[given == own])}, {given.name}"
            allowed = "one of " + ", ".join(f'"{name}"' for name in known) + ", or empty"
            problems.append(InputProblem(file, where, f'"{own}"', allowed, _meant(word, known)))
    if problems:
        raise InputRefused(problems)
    return pd.Series([spelt.get(word) for word in given], index=given.index, dtype=object)


def _words(layer: str) -> dict[str, tuple[str, ...]]:
    """Columns of words, and the words that they may hold."""
    if layer == "soils":
        return {"texture": TEXTURES, "hydrologic_group": GROUPS}
    return {"cover": tuple(tables.curve_numbers())} if layer == "land_cover" else {}


def _meant(word: str, known: tuple[str, ...]) -> str:
    if re.fullmatch("[ABC]/D", word):
        return f'Two groups hang on drainage: write "D", or "{word[0]}" where the ground is drained'
    begun = [name for name in known if name.startswith(f"{word}-")]
    near = begun or get_close_matches(word, known, n=1, cutoff=0.6)
    return f"Nearest valid: {' or '.join(near)}" if near else ""


def rows_text(rows: Iterable[object]) -> str:
    """Feature ids, five of them at most.

    Examples
    --------
    >>> rows_text([3, 4, 5, 6, 7, 8])
    'feature 3, 4, 5, 6, 7 and 1 more'
    """
    named = [str(row) for row in rows]
    more = len(named) - _NAMED_ROWS
    text = "feature " + ", ".join(named[:_NAMED_ROWS])
    return f"{text} and {more} more" if more > 0 else text


def check_figures(
    soils: gpd.GeoDataFrame, land_cover: gpd.GeoDataFrame, keys: LandKeys, file: str, key: str
) -> None:
    """Refuse a cover on ground for whose hydrologic group it has no published curve number.

    Parameters
    ----------
    soils, land_cover : both layers in one CRS, in the spelling of `checked_words`
    keys : the run file's `[land]`, which stands where a layer tells nothing
    file, key : what problems name

    Raises
    ------
    InputRefused
        With every feature that lies on such ground.
    """
    covered = land_cover[land_cover["cover"].notna() | land_cover["curve_number"].notna()]
    by_cover = land_cover[land_cover["cover"].notna() & land_cover["curve_number"].isna()]
    grouped = soils[soils["hydrologic_group"].notna()]
    problems = []
    for row, cover, shape in zip(by_cover.index, by_cover["cover"], by_cover.geometry, strict=True):
        groups = set(grouped["hydrologic_group"][_overlaps(grouped, shape)])
        if _reaches_beyond(shape, grouped):
            groups.add(keys.hydrologic_group)
        problems += [
            _no_figure("land_cover", row, cover, group, file, key)
            for group in _without_figure(cover, groups)
        ]
    for row, group, shape in zip(
        grouped.index, grouped["hydrologic_group"], grouped.geometry, strict=True
    ):
        if keys.cover and _without_figure(keys.cover, {group}) and _reaches_beyond(shape, covered):
            problems.append(_no_figure("soils", row, keys.cover, group, file, key))
    if problems:
        raise InputRefused(problems)


def _overlaps(frame: gpd.GeoDataFrame, shape: shapely.Geometry) -> np.ndarray:
    """Rows that share ground with a shape, and not its edge alone."""
    return np.asarray(shapely.area(shapely.intersection(frame.geometry.array, shape)) > 0.0)


def _reaches_beyond(shape: shapely.Geometry, frame: gpd.GeoDataFrame) -> bool:
    rest = shapely.difference(shape, shapely.union_all(frame.geometry.array))
    return bool(shapely.area(rest) > 0.0)


def _without_figure(cover: str, groups: set[str]) -> list[str]:
    return sorted(groups - set(tables.curve_numbers()[cover]) - {""})


def _no_figure(layer: str, row: int, cover: str, group: str, file: str, key: str) -> InputProblem:
    groups = ", ".join(tables.curve_numbers()[cover])
    return InputProblem(
        file,
        f"{key}, layer {layer}, feature {row + 1} (in the file's order)",
        f'cover "{cover}" on hydrologic group {group}',
        f"for this cover the groups {groups}",
        "Give this ground a land_cover feature with a curve_number",
    )
