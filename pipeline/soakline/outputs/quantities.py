"""What is to be dug and bought, counted from the plan; rates are the owner's."""

import numpy as np
import pandas as pd

from soakline.outputs.amended import amendment_rows
from soakline.outputs.columns import SCHEMAS, frame
from soakline.outputs.designed import Designed


def quantity_table(plan: Designed) -> pd.DataFrame:
    """The `quantities` table, without rates."""
    works = plan.works
    footprint = float(works.footprint.area_m2.sum())
    topsoil = footprint * plan.run.earthworks.topsoil_m
    sills = [sill for own in plan.outlets.sills for sill in own]
    rows = [
        ("swales", "number", plan.figures.length_m.size),
        ("lip", "m", float(np.sum(plan.figures.length_m))),
        ("cut", "m³", float(works.volumes.cut_m3.sum())),
        ("fill, settled", "m³", float(works.volumes.fill_m3.sum())),
        ("topsoil stripped and spread back", "m³", topsoil),
        ("footprint", "m²", footprint),
        ("water held", "m³", float(np.sum(plan.figures.capacity_m3))),
        ("spillways", "number", len(sills)),
        ("sill", "m", sum(sill.length_m for sill in sills)),
        ("overflow route", "m", sum(route.length_m for route in plan.routes)),
        ("pegs", "number", plan.pegs.kind.size),
        *amendment_rows(plan),
    ]
    return frame(
        SCHEMAS["quantities"],
        [
            {"item": item, "unit": unit, "amount": float(amount), "rate": None, "cost": None}
            for item, unit, amount in rows
        ],
    )
