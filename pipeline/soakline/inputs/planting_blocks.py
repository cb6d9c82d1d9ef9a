"""Planting blocks against each other and against the table of species, which gives heights."""

from collections.abc import Sequence
from dataclasses import replace
from difflib import get_close_matches

import numpy as np
import shapely

from soakline.grid import FloatArray
from soakline.inputs.species import Species
from soakline.inputs.types import Features
from soakline.problems import InputProblem, ProblemCollector
from soakline.runfile.sections import RunFile

# Blocks that share less than this only touch, m².
_TOUCH_M2 = 1.0


def names_of(cell: object) -> list[str]:
    """Species that a cell of `planting_blocks` names, semicolons between them.

    Examples
    --------
    >>> names_of("Malus domestica; Pyrus communis"), names_of(None)
    (['Malus domestica', 'Pyrus communis'], [])
    """
    if not isinstance(cell, str):
        return []
    return [name for part in cell.split(";") if (name := " ".join(part.split()))]


def block_heights_m(features: Features, species: Sequence[Species]) -> FloatArray:
    """Mature tree height of each planting block: its own, else that of its highest species.

    Parameters
    ----------
    features : Features
    species : that may be planted

    Returns
    -------
    (blocks,) m; NaN where a block has neither a height nor a species of the table
    """
    blocks = features.planting_blocks
    known = {own.species.casefold(): own.height_m for own in species}
    heights: FloatArray = np.array(blocks["mature_tree_height_m"], dtype=float)
    for row in np.flatnonzero(np.isnan(heights)):
        names = names_of(blocks["species"].iloc[row])
        heights[row] = max((known.get(own.casefold(), np.nan) for own in names), default=np.nan)
    return heights


def with_heights(features: Features, height_m: FloatArray) -> Features:
    """The same features, every planting block with a height; (blocks,) m."""
    blocks = features.planting_blocks.assign(mature_tree_height_m=height_m)
    return replace(features, planting_blocks=blocks)


def check_blocks(run: RunFile, features: Features, species: tuple[Species, ...]) -> None:
    """Refuse planting blocks that overlap, that name a species which is not in the table, or whose
    tree height nothing tells.

    Parameters
    ----------
    run : the run file
    features : Features
    species : that may be planted

    Raises
    ------
    InputRefused
        With every pair of blocks, every name and every block without a height.
    """
    blocks = features.planting_blocks
    file = str(run.resolve(run.property.features)) if run.property.features else str(run.file)
    problems = ProblemCollector()
    shapes = np.asarray(blocks.geometry.array, dtype=np.object_)
    one, other = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    for first, second in sorted(zip(one.tolist(), other.tolist(), strict=True)):
        if first < second:
            shared = float(shapely.area(shapely.intersection(shapes[first], shapes[second])))
            if shared > _TOUCH_M2:
                key = f"property.features, layer planting_blocks, feature {second + 1}"
                found = f"{shared:.0f} m² that feature {first + 1} covers too"
                mend = "cut one of the blocks back in a GIS"
                problems.add(InputProblem(file, key, found, "blocks that do not overlap", mend))
    known = {own.species.casefold(): own.species for own in species}
    table = run.planting.species or "config/species.csv"
    for row, (cell, height) in enumerate(
        zip(blocks["species"], blocks["mature_tree_height_m"].astype(float), strict=True)
    ):
        key = f"property.features, layer planting_blocks, feature {row + 1}"
        names = names_of(cell)
        if np.isnan(height) and not names:
            found = "neither a height nor a species"
            allowed = "a number over 0 m in mature_tree_height_m, or species whose height counts"
            problems.add(InputProblem(file, key, found, allowed))
        if not (run.planting.trees or np.isnan(height)):
            continue
        for name in names:
            if name.casefold() not in known:
                near = get_close_matches(name.casefold(), known, n=1, cutoff=0.6)
                mend = f"Nearest in the table: {known[near[0]]}" if near else ""
                allowed = f"botanical names in {table}, with semicolons between them"
                problems.add(InputProblem(file, f"{key}, species", f'"{name}"', allowed, mend))
    problems.raise_if_any()
