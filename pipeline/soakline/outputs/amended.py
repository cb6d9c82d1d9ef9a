"""What the treatment of the bases takes: rows of `quantities`, only of what is used."""

import numpy as np

from soakline.grid import FloatArray
from soakline.inputs.quantity_items import UNITS
from soakline.outputs.designed import Designed
from soakline.section.trench import trenches_of
from soakline.works.bill import Entry

CUT_BELOW, WORKED = "cut below the base", "base ripped or mixed"


def base_m2(plan: Designed) -> FloatArray:
    """Area of each swale's level base between the slopes of its ends, basins too, (swales,) m²."""
    trench, points = trenches_of(plan.figures.sections), plan.points
    length = plan.figures.length_m - 2.0 * trench.batter * trench.depth_m
    added = np.where(points.kind == "basin", points.area_m2, 0.0)
    added = np.bincount(points.lip, weights=added, minlength=length.size)
    return np.asarray(trench.base_width_m * np.maximum(length, 0.0) + added, dtype=float)


def amendment_entries(plan: Designed) -> list[Entry]:
    """What is dug for, filled in or spread on treated bases.

    Parameters
    ----------
    plan : Designed

    Returns
    -------
    nothing where no base is treated
    """
    name = plan.run.soil.amendment
    used = [plan.design.on(own).amendment for own in plan.figures.texture]
    treated = np.array([own.name == name != "none" for own in used], dtype=bool)
    if not treated.any():
        return []
    amendment = used[int(np.flatnonzero(treated)[0])]
    area = np.where(treated, base_m2(plan), 0.0)
    entries: list[Entry] = []
    if amendment.layer_m > 0.0:
        layer = area * amendment.layer_m
        below = f"cut for the {name} below the base"
        entries.append(Entry(name, UNITS[name], layer, name))
        entries.append(Entry(below, UNITS[CUT_BELOW], layer, CUT_BELOW))
    if amendment.dose_kg_m2 > 0.0:
        entries.append(Entry(name, UNITS[name], area * amendment.dose_kg_m2 / 1000.0, name))
    if amendment.worked_m > 0.0:
        how = f"base {'ripped' if name == 'ripped' else 'mixed'} {amendment.worked_m:g} m deep"
        entries.append(Entry(how, UNITS[WORKED], area, WORKED))
    return entries
