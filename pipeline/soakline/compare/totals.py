"""Figures of one plan by swale, and for the whole of it."""

import pandas as pd

from soakline.compare.items import PLAN_ITEMS, SWALE_ITEMS
from soakline.compare.read import PlanTables

_HOW = {"sum": "sum", "least": "min", "greatest": "max"}


def by_swale(plan: PlanTables) -> pd.DataFrame:
    """Every figure of `SWALE_ITEMS`.

    Parameters
    ----------
    plan : PlanTables

    Returns
    -------
    (swales, items) frame by swale_id; a swale without a spillway has 0 sills and null for the rest
    of them
    """
    swales = pd.DataFrame(plan.swales.drop(columns="geometry")).set_index("swale_id")
    sills = plan.spillways.groupby("swale_id")
    swales["spillways"] = sills.size().reindex(swales.index, fill_value=0)
    swales["sill_length_m"] = sills["sill_length_m"].sum().reindex(swales.index)
    swales["check_peak_m3s"] = sills["peak_m3s"].sum().reindex(swales.index)
    return swales[[item.name for item in SWALE_ITEMS]].astype(float)


def plan_totals(plan: PlanTables) -> dict[str, float]:
    """Every figure of `PLAN_ITEMS`; null figures are left out of sums, least and greatest."""
    swales = by_swale(plan)
    found = {
        item.name: float(swales[item.name].agg(_HOW[item.total]))
        for item in SWALE_ITEMS
        if item.total != "none"
    }
    severity = plan.findings["severity"].value_counts()
    counts = {f"{name}_findings": float(severity.get(name, 0)) for name in _SEVERITIES}
    return {
        "swales": float(len(swales)),
        "spilling_swales": float((swales["design_overflow_m3"] > 0).sum()),
        "leaving_m3": _leaving_m3(plan),
        **found,
        **counts,
    }


_SEVERITIES = ("stop", "caution", "note")


def _leaving_m3(plan: PlanTables) -> float:
    """Most that swales spill and no swale receives, over design storms."""
    design = plan.storms.loc[plan.storms["purpose"] == "design", "storm_id"]
    storms = plan.swale_storms[plan.swale_storms["storm_id"].isin(design)]
    leaving = (storms["overflow_m3"] - storms["received_m3"]).groupby(storms["storm_id"]).sum()
    return float(leaving.max()) if len(leaving) else 0.0


def totals(a: PlanTables, b: PlanTables) -> pd.DataFrame:
    """Totals of two plans: scope, id (the plan has none), item, unit, a, b."""
    first, second = plan_totals(a), plan_totals(b)
    rows = [("plan", "", i.name, i.unit, first[i.name], second[i.name]) for i in PLAN_ITEMS]
    return pd.DataFrame(rows, columns=["scope", "id", "item", "unit", "a", "b"])
