"""What is to be dug and bought, counted from the plan; rates are the owner's."""

import numpy as np
import pandas as pd

from soakline.outputs.columns import SCHEMAS, frame
from soakline.outputs.designed import Designed


def quantity_table(plan: Designed) -> pd.DataFrame:
    """The `quantities` table, without rates."""
    works = plan.works
    footprint = sum(w.footprint.area_m2 for w in works)
    topsoil = footprint * plan.run.earthworks.topsoil_m
    sills = [sill for own in plan.outlets.sills for sill in own]
    rows = [
        ("swales", "number", len(works)),
        ("lip", "m", float(np.sum(plan.figures.length_m))),
        ("cut", "m³", sum(w.volumes.cut_m3 for w in works)),
        ("fill, settled", "m³", sum(w.volumes.fill_m3 for w in works)),
        ("topsoil stripped and spread back", "m³", topsoil),
        ("footprint", "m²", footprint),
        ("water held", "m³", float(np.sum(plan.figures.capacity_m3))),
        ("spillways", "number", len(sills)),
        ("sill", "m", sum(sill.length_m for sill in sills)),
        ("overflow route", "m", sum(route.length_m for route in plan.routes)),
        ("pegs", "number", sum(len(p.kind) for p in plan.pegs)),
    ]
    return frame(
        SCHEMAS["quantities"],
        [
            {"item": item, "unit": unit, "amount": float(amount), "rate": None, "cost": None}
            for item, unit, amount in rows
        ],
    )
