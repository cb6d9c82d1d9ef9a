"""Planting blocks against each other and against the table of species."""

from difflib import get_close_matches

import numpy as np
import shapely

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


def check_blocks(run: RunFile, features: Features, species: tuple[Species, ...]) -> None:
    """Refuse planting blocks that overlap, or name a species that is not in the table.

    Parameters
    ----------
    run : the run file
    features : Features
    species : that may be planted

    Raises
    ------
    InputRefused
        With every pair of blocks and every name.
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
    if run.planting.trees:
        known = {own.species.casefold(): own.species for own in species}
        table = run.planting.species or "config/species.csv"
        for row, cell in enumerate(blocks["species"]):
            for name in names_of(cell):
                if name.casefold() not in known:
                    key = f"property.features, layer planting_blocks, feature {row + 1}, species"
                    near = get_close_matches(name.casefold(), known, n=1, cutoff=0.6)
                    mend = f"Nearest in the table: {known[near[0]]}" if near else ""
                    allowed = f"botanical names in {table}, with semicolons between them"
                    problems.add(InputProblem(file, key, f'"{name}"', allowed, mend))
    problems.raise_if_any()
