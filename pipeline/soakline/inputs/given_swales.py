"""Swales that are given: lines that were dug or fixed, one swale a line, each under its own id."""

from typing import cast

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from soakline.findings import Finding
from soakline.inputs.as_built import AsBuilt
from soakline.inputs.types import Elevation, SwaleState
from soakline.problems import InputProblem, ProblemCollector

LAYER = "given_swales"
SHORTEST_M = 3.0
# Of a copy; lines that cross at a few degrees are as near on less than the shortest line.
_SAME_PLACE_M = 0.1
_STATES: dict[str, SwaleState] = {
    "built": "built",
    "fixed": "fixed",
    # As a plan's own layer has it: kept where it was laid, it is a line that someone fixed.
    "planned": "fixed",
}
_STATES_ALLOWED = '"built" or "fixed", or empty for fixed'
_LEVEL_M = 0.001
_LONGEST_ID = 40
# Ids stand in file formats for machines and instruments.
_ID_ALLOWED = f"letters, digits, blanks, and . _ -, at most {_LONGEST_ID} in all"


def level_of_z(frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Lines without Z; a height that all vertices share is the level of a line that has no other.

    Parameters
    ----------
    frame : the layer as read

    Notes
    -----
    A line whose heights are all 0 was drawn without any: that is what a GIS puts there.
    """
    shapes = frame.geometry.to_numpy()
    levels = [_dead_level_m(shape) for shape in shapes]
    read = frame.copy()
    read.geometry = shapely.force_2d(shapes)
    name = next((own for own in read.columns if str(own).lower() == "level_m"), "level_m")
    if name not in read.columns:
        read[name] = levels
    elif pd.api.types.is_numeric_dtype(read[name]):
        read[name] = read[name].astype("float64").fillna(pd.Series(levels, read.index, dtype=float))
    return read


def _dead_level_m(shape: BaseGeometry | None) -> float:
    """Height that all vertices share; NaN where there is none."""
    if shape is None or not shapely.has_z(shape):
        return float("nan")
    height = shapely.get_coordinates(shape, include_z=True)[:, 2]
    if height.size == 0 or not np.ptp(height) <= _LEVEL_M or not np.any(height):
        return float("nan")
    return float(height[0])


def separate_lines(
    frame: gpd.GeoDataFrame, file: str, key: str
) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    """One row a swale: parts of broken lines apart, no id twice, states by their own words.

    Parameters
    ----------
    frame : checked columns and lines in the working CRS, indexed by feature id
    file, key : what problems name

    Returns
    -------
    the lines in the file's order, and notes on ids that were given an ending

    Raises
    ------
    InputRefused
        With every line that is too short, crosses or closes itself, every state that is not known
        and every id that cannot be written to files.

    Notes
    -----
    Parts of one feature that join end to end are one line. A line that was split has its id twice:
    the first piece in the file's order keeps it, the others get the next free ending: S003, S003-2,
    S003-3.
    """
    collector = ProblemCollector()
    shapes = frame.geometry.to_numpy()
    # Of a line without length nothing would be left to tell of.
    whole = np.where(shapely.length(shapes) > 0.0, shapely.line_merge(shapes), shapes)
    parts, row = shapely.get_parts(whole, return_index=True)
    parts = np.array([_without_repeats(part) for part in parts], dtype=object)
    lines = gpd.GeoDataFrame(frame.drop(columns="geometry").iloc[row], geometry=parts)
    lines = lines.set_crs(frame.crs, allow_override=True)
    for feature, shape in zip(lines.index, parts, strict=True):
        wrong = _wrong_line(shape)
        if wrong:
            collector.add(InputProblem(file, f"{key}, feature {feature}", *wrong))
    for feature, own in frame["swale_id"].items():
        if own is not None and not _is_plain(str(own)):
            where = f"{key}, feature {feature}, swale_id"
            collector.add(InputProblem(file, where, f'"{own}"', _ID_ALLOWED))
    states = frame["state"].map(lambda own: "fixed" if own is None else str(own).lower())
    for feature, own in states.items():
        if own not in _STATES:
            where = f"{key}, feature {feature}, state"
            collector.add(InputProblem(file, where, f'"{own}"', _STATES_ALLOWED))
    collector.raise_if_any()
    lines["state"] = [_STATES[states.iloc[k]] for k in row]
    given = [cast("str | None", own) for own in lines["swale_id"]]
    lines["swale_id"] = pd.Series(ids_apart(given), index=lines.index, dtype=object)
    return lines, _renamed(given, list(lines["swale_id"]))


def _without_repeats(line: BaseGeometry) -> BaseGeometry:
    """A line without vertices that stand twice at one place."""
    place = shapely.get_coordinates(line)
    kept = np.append(True, np.hypot(*np.diff(place, axis=0).T) > _LEVEL_M)
    return shapely.linestrings(place[kept]) if kept.sum() > 1 else line


def _wrong_line(line: BaseGeometry) -> tuple[str, str, str] | None:
    """What was found, what is allowed and how to mend it; None where a swale can be dug along."""
    if line.length < SHORTEST_M:
        found = f"a line of {line.length:.2f} m"
        return found, f"a line of at least {SHORTEST_M:g} m", "Draw it longer, or delete it."
    if not shapely.is_simple(line) or shapely.is_closed(line):
        found = "a line that closes or crosses itself"
        mend = "Leave a gap where its water is to leave, or cut it into lines that do not cross."
        return found, "a line with two ends that does not cross itself", mend
    return None


def _is_plain(text: str) -> bool:
    return len(text) <= _LONGEST_ID and all(sign.isalnum() or sign in " ._-" for sign in text)


def ids_apart(ids: list[str | None]) -> list[str]:
    """Ids of which none comes twice; "" where none was given."""
    used = {own for own in ids if own}
    seen: set[str] = set()
    apart = []
    for own in ids:
        name = own or ""
        if name in seen:
            number = 2
            while f"{own}-{number}" in used:
                number += 1
            name = f"{own}-{number}"
            used.add(name)
        if name:
            seen.add(name)
        apart.append(name)
    return apart


def _renamed(given: list[str | None], ids: list[str]) -> list[Finding]:
    return [
        Finding(
            "given_swale_split",
            "note",
            LAYER,
            own,
            f"{before} was given more than once, as where a line is split: this piece is {own}.",
            f"Give it an id of its own if {own} is not to be it; levels measured after digging "
            "(earthworks.as_built) go by these ids.",
        )
        for before, own in zip(given, ids, strict=True)
        if before and own != before
    ]


def off_the_land(
    lines: gpd.GeoDataFrame, area: MultiPolygon, elevation: Elevation, file: str
) -> list[InputProblem]:
    """Lines that no swale of this property can lie on.

    Parameters
    ----------
    lines : from `separate_lines`
    area : the property
    elevation : in the same CRS
    file : what problems name

    Returns
    -------
    a problem of every line that lies wholly outside the property, or not wholly on cells of the DEM
    that have a height
    """
    problems = []
    for number, (shape, own) in enumerate(zip(lines.geometry, lines["swale_id"], strict=True)):
        where = f"property.features, layer {LAYER}, {own or f'line {number + 1}'}"
        if not shapely.intersects(area, shape):
            away = shapely.distance(area, shape)
            found = f"a line {away:.0f} m outside the property"
            mend = "Check its place and CRS, or take it out."
            problems.append(InputProblem(file, where, found, "a line on the property", mend))
            continue
        off_m = _off_dem_m(shape, elevation)
        if off_m > 0.0:
            found = f"a line of which about {off_m:.0f} m lie off the DEM's valid cells"
            mend = "Give a DEM that covers it, or shorten the line."
            allowed = "a line on ground that has heights"
            problems.append(InputProblem(file, where, found, allowed, mend))
    return problems


def one_on_another(lines: gpd.GeoDataFrame, file: str) -> list[InputProblem]:
    """Lines that run along another: a copy, or the whole beside the pieces that it was split into.

    Parameters
    ----------
    lines : from `separate_lines`
    file : what problems name
    """
    shapes, ids = lines.geometry.to_numpy(), lines["swale_id"].tolist()
    pairs = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=_SAME_PLACE_M)
    problems = []
    for second, first in pairs.T[np.lexsort(pairs)].tolist():
        if first >= second:
            continue
        beside = shapely.buffer(shapes[first], _SAME_PLACE_M)
        along_m = shapely.length(shapely.intersection(shapes[second], beside))
        if along_m >= SHORTEST_M:
            own, other = (ids[k] or f"line {k + 1}" for k in (second, first))
            found = f"a line that runs along {other} for {along_m:.0f} m"
            allowed = f"at most {SHORTEST_M:g} m of a line within {_SAME_PLACE_M:g} m of another"
            where = f"property.features, layer {LAYER}, {own}"
            mend = "Delete one of them, or shorten it."
            problems.append(InputProblem(file, where, found, allowed, mend))
    return problems


def beyond_ends(lines: gpd.GeoDataFrame, as_built: AsBuilt | None) -> list[InputProblem]:
    """Levels as built beyond the ends of given lines; those of planned ones are known later."""
    if as_built is None:
        return []
    return as_built.beyond_ends(dict(zip(lines["swale_id"], lines.length.tolist(), strict=True)))


def _off_dem_m(line: BaseGeometry, elevation: Elevation) -> float:
    """Length of a line on cells without height, about, m."""
    grid = elevation.grid
    place = shapely.get_coordinates(shapely.segmentize(line, grid.cell_m / 2.0))
    row, column = grid.row_column(place[:, 0], place[:, 1])
    row, column = np.rint(row).astype(np.int64), np.rint(column).astype(np.int64)
    inside = (row >= 0) & (row < grid.rows) & (column >= 0) & (column < grid.columns)
    valid = inside.copy()
    valid[inside] = np.isfinite(elevation.dem_m[row[inside], column[inside]])
    return float(np.count_nonzero(~valid)) * line.length / len(place)
