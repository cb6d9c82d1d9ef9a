"""Which species each swale gets: by its block, its soil and whether it is a windbreak."""

import numpy as np

from soakline.grid import BoolArray, FloatArray
from soakline.inputs.planting_blocks import names_of
from soakline.inputs.types import Inputs
from soakline.planting.choice import Mixture, mixture_for, windbreak_mixture
from soakline.planting.first_fit import Mixtures
from soakline.runfile.sections import RunFile
from soakline.section.soils import soil_for
from soakline.section.stations import starts_of
from soakline.stages.laying import Laid


def swale_mixtures(
    run: RunFile, inputs: Inputs, laid: Laid, tree_height_m: FloatArray, windbreak: BoolArray
) -> list[Mixture]:
    """Species of each swale.

    Parameters
    ----------
    run, inputs, laid : of the stages before
    tree_height_m : (swales,) H
    windbreak : (swales,) those that are one; their block's own species stand back
    """
    table, annual_mm = inputs.works.species, run.rain.annual_mm
    blocks = [(), *(names_of(cell) for cell in inputs.features.planting_blocks["species"])]
    known: dict[tuple[str, float, int, bool], Mixture] = {}
    each = []
    for line, texture, height, breaks in zip(
        laid.placed.lines, laid.texture, tree_height_m.tolist(), windbreak.tolist(), strict=True
    ):
        soil = soil_for(texture).group
        key = (soil, height, line.group, breaks)
        if key not in known:
            mixed = mixture_for(table, soil, annual_mm, height, blocks[line.group])
            known[key] = (
                windbreak_mixture(table, soil, annual_mm, height, mixed) if breaks else mixed
            )
        each.append(known[key])
    return each


def row_mixtures(mixtures: list[Mixture]) -> Mixtures:
    """Species of every row: main trees and a pioneer by turns on the mound, fixers uphill.

    Crowns over a trench that is planted leave little room beside it: there main trees take turns
    with a pioneer and fixers, or dry land would have none in its first years.
    """
    each: list[tuple[int, ...]] = []
    for mixed in mixtures:
        turns = tuple(own for i in mixed.main for own in (i, *mixed.pioneer)) or mixed.pioneer
        # In the order of BANDS.
        nurses = (*mixed.pioneer, *mixed.fixer)
        longest = max(len(mixed.main), len(nurses))
        inside = [
            own[turn % len(own)] for turn in range(longest) for own in (mixed.main, nurses) if own
        ]
        each += [turns, mixed.main or mixed.pioneer, mixed.fixer, tuple(inside)]
    start = starts_of(np.array([len(own) for own in each], dtype=np.int64))
    return Mixtures(start, np.array([i for own in each for i in own], dtype=np.int64))
