"""What the treatment of the bases takes: rows of `quantities`, only of what is used."""

import numpy as np

from soakline.grid import FloatArray
from soakline.inputs.quantity_items import UNITS
from soakline.outputs.designed import Designed
from soakline.section.trench import base_area_m2, trenches_of
from soakline.works.bill import Entry

CUT_BELOW, WORKED = "cut below the base", "base ripped or mixed"


def basin_m2(plan: Designed) -> FloatArray:
    """Floor that basins add to each swale's base, (swales,) m²."""
    points = plan.points
    added = np.where(points.kind == "basin", points.area_m2, 0.0)
    floors = np.bincount(points.lip, weights=added, minlength=plan.figures.length_m.size)
    return np.asarray(floors, dtype=float)


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
    base_m2 = base_area_m2(trenches_of(plan.figures.sections), plan.figures.length_m)
    floor = np.where(treated, basin_m2(plan), 0.0)
    area = np.where(treated, base_m2, 0.0) + floor
    entries: list[Entry] = []
    if amendment.layer_m > 0.0:
        layer = area * amendment.layer_m
        below = f"cut for the {name} below the base"
        entries.append(Entry(name, UNITS[name], layer, name))
        below_m3 = plan.works.volumes.below_m3 + floor * amendment.layer_m
        entries.append(Entry(below, UNITS[CUT_BELOW], below_m3, CUT_BELOW))
    if amendment.dose_kg_m2 > 0.0:
        entries.append(Entry(name, UNITS[name], area * amendment.dose_kg_m2 / 1000.0, name))
    if amendment.worked_m > 0.0:
        how = f"base {'ripped' if name == 'ripped' else 'mixed'} {amendment.worked_m:g} m deep"
        entries.append(Entry(how, UNITS[WORKED], area, WORKED))
    return entries
