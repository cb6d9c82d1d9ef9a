"""What the treatment of the bases takes: rows of `quantities`, only of what is used."""

import numpy as np

from soakline.grid import FloatArray
from soakline.outputs.designed import Designed
from soakline.section.trench import trenches_of

Row = tuple[str, str, float]


def base_m2(plan: Designed) -> FloatArray:
    """Area of each swale's level base, between the slopes of its ends, (swales,) m²."""
    trench = trenches_of(plan.figures.sections)
    length = plan.figures.length_m - 2.0 * trench.batter * trench.depth_m
    return trench.base_width_m * np.maximum(length, 0.0)


def amendment_rows(plan: Designed) -> list[Row]:
    """Item, unit and amount of what is dug for, filled in or spread on treated bases.

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
    area = float(base_m2(plan)[treated].sum())
    rows: list[Row] = []
    if amendment.layer_m > 0.0:
        rows.append((name, "m³", area * amendment.layer_m))
        rows.append((f"cut for the {name} below the base", "m³", area * amendment.layer_m))
    if amendment.dose_kg_m2 > 0.0:
        rows.append((name, "t", area * amendment.dose_kg_m2 / 1000.0))
    if amendment.worked_m > 0.0:
        how = "ripped" if name == "ripped" else "mixed"
        rows.append((f"base {how} {amendment.worked_m:g} m deep", "m²", area))
    return rows
