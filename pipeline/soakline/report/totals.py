"""Figures and tables of the whole plan: the land, the rain, the works."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from soakline.report.read import ReadPlan
from soakline.report.words import (
    Cell,
    Figure,
    Head,
    Table,
    cell,
    head,
    number,
    plain,
    rarity,
    words,
)


def key_figures(plan: ReadPlan, chains: int) -> tuple[Figure, ...]:
    """The land and the job in a dozen figures."""
    layers = plan.layers
    swales, land = layers["swales"], layers["property"]
    inflow, overflow = (float(swales[n].sum()) for n in ("design_inflow_m3", "design_overflow_m3"))
    area_m2, served_m2 = float(land["area_m2"].sum()), float(swales["catchment_m2"].sum())
    inside = layers["slope_classes"]
    classes = inside.fillna({"upper_pct": np.inf})
    under_15 = float(classes.loc[classes["upper_pct"] <= 15, "area_m2"].sum())
    heads = [
        ("Land", f"{number(area_m2 / 1e4, 2)} ha", "Area in plan."),
        (
            "Ground under 15 %",
            f"{number(100 * under_15 / max(float(inside['area_m2'].sum()), 1e-9), 0)} %",
            "Share of the land by slope.",
        ),
        (
            "Excluded ground",
            f"{number(layers['excluded_ground']['area_m2'].sum() / 1e4, 2)} ha",
            "Where no swale may lie, by the first reason that holds.",
        ),
        ("Swales", _count(len(swales), "swale"), "Level lines to dig, or dug already."),
        ("Groups", _count(chains, "group"), "Swales that spill into one another."),
        ("Length of lips", f"{number(swales['length_m'].sum() / 1000, 2)} km", "In plan."),
        ("Catchment of swales", f"{number(served_m2 / 1e4, 2)} ha", "All that drains to them."),
        ("Water held when full", f"{number(swales['capacity_m3'].sum(), 0)} m³", "By all swales."),
        (
            "Spilled, design storms",
            f"{number(overflow, 0)} m³",
            f"Of {number(inflow, 0)} m³ received; water that passes several swales counts at each.",
        ),
        ("Cut", f"{number(swales['cut_m3'].sum(), 0)} m³", "Bank volume of the trenches."),
        (
            "Machine hours",
            f"{number(swales['machine_h'].sum(), 0)} h"
            if swales["machine_h"].notna().any()
            else "–",
            "Digging and heaping alone, an estimate.",
        ),
        (
            "Safe ends",
            _count(len(layers["safe_points"]), "safe point"),
            "Places that spilled water is led to, besides drainage lines.",
        ),
    ]
    return tuple(Figure(*one) for one in heads)


def _count(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def slope_table(plan: ReadPlan) -> Table:
    """How much of the land lies in each class of slope."""
    classes = plan.layers["slope_classes"]
    whole = float(classes["area_m2"].sum())
    heads = (
        Head("Slope from", "%", number=True), Head("Slope to", "%", number=True),
        Head("Area", "ha", number=True), Head("Share", "%", number=True),
    )  # fmt: skip
    rows = tuple(
        (
            cell("slope_classes", "lower_pct", row["lower_pct"]),
            cell("slope_classes", "upper_pct", row["upper_pct"]),
            plain(row["area_m2"] / 1e4, 2),
            plain(100 * row["area_m2"] / whole, 1),
        )
        for row in classes.to_dict("records")
    )  # fmt: skip
    return Table("slopes", "Land by slope", heads, rows)


def excluded_table(plan: ReadPlan) -> Table:
    """Where no swale may lie, and why."""
    rows = tuple(
        (Cell(reason, reason), plain(row["area_m2"] / 1e4, 2))
        for row in plan.layers["excluded_ground"].to_dict("records")
        for reason in [str(row["reason"]).replace("_", " ")]
    )
    heads = (Head("Reason"), Head("Area", "ha", number=True))
    return Table("excluded", "Excluded ground by first reason", heads, rows)


def rarities(storms: pd.DataFrame) -> dict[str, str]:
    """How rare the design and the check storms are, by purpose, in words."""
    first = storms.groupby("purpose")["frequency"].first()
    return {own: rarity(str(first[own])) for own in ("design", "check") if own in first.index}


def rain_table(plan: ReadPlan) -> Table:
    """Depths by duration, and how many swales each duration asks most of."""
    storms, swales = plan.layers["storms"], plan.layers["swales"]
    governing = swales["governing_storm_id"].value_counts()
    names = rarities(storms)
    depth = storms.pivot_table("depth_mm", "duration_min", "purpose", aggfunc="first")
    heads = (
        Head("Duration", "min", number=True),
        *(Head(f"{p.capitalize()} ({own})", "mm", number=True) for p, own in names.items()),
        Head("Intensity, design", "mm/h", number=True),
        Head("Governs", "swales", "For how many swales this is the storm that asks most.", True),
    )
    rows = []
    for own in depth.reset_index().to_dict("records"):
        minutes = own["duration_min"]
        ids = storms.loc[
            (storms["duration_min"] == minutes) & (storms["purpose"] == "design"), "storm_id"
        ]
        design = float(own.get("design", np.nan))
        rows.append(
            (
                plain(minutes, 0),
                *(plain(own[p], 1) for p in names),
                plain(design * 60 / minutes, 1),
                Cell(*2 * (str(int(governing.reindex(ids).fillna(0).sum())),), number=True),
            )
        )
    return Table("rain", "Rain of the storms", heads, tuple(rows))


def storms_table(plan: ReadPlan) -> Table:
    """What each storm does to all swales together."""
    each = plan.layers["swale_storms"]
    spills = each["overflow_m3"] > 0.0
    sums = each.assign(spills=spills).groupby("storm_id").agg(
        inflow=("inflow_m3", "sum"), received=("received_m3", "sum"),
        soaked=("infiltrated_m3", "sum"), spilled=("overflow_m3", "sum"), swales=("spills", "sum"),
        free=("freeboard_m", "min"), dry=("drain_down_h", "max"),
    )  # fmt: skip
    storms = plan.layers["storms"]
    known = storms[storms["storm_id"].isin(sums.index)]
    heads = (
        Head("Storm"), Head("For"), head("storms", "duration_min"), head("storms", "depth_mm"),
        Head("Reaches swales", "m³", "Runoff and rain on their water; each drop once.", True),
        Head("Soaked in", "m³", number=True),
        Head("Spilled", "m³", "Counted at each swale that it passes.", True),
        Head("Swales that spill", number=True),
        Head("Least freeboard", "m", number=True),
        Head("Empty after", "h", "From the end of rain, the slowest swale.", True),
    )  # fmt: skip
    rows = []
    for row in known.to_dict("records"):
        own = sums.loc[row["storm_id"]]
        rows.append(
            (
                cell("storms", "storm_id", row["storm_id"]),
                cell("storms", "purpose", row["purpose"]),
                cell("storms", "duration_min", row["duration_min"]),
                cell("storms", "depth_mm", row["depth_mm"]),
                plain(own["inflow"] - own["received"], 0), plain(own["soaked"], 0),
                plain(own["spilled"], 0),
                Cell(*2 * (str(int(own["swales"])),), number=True),
                plain(own["free"], 2), plain(own["dry"], 1),
            )
        )  # fmt: skip
    return Table("storms-table", "What each storm does to all swales", heads, tuple(rows))


def quantities_table(plan: ReadPlan) -> Table:
    """What has to be dug, moved and bought; columns of costs only where there are rates."""
    table = plan.layers["quantities"]
    names = [n for n in ("rate", "cost") if table[n].notna().any()]
    heads = (
        Head("Item"), Head("Amount", "in the row's unit", number=True), Head("Unit"),
        *(head("quantities", n) for n in names),
    )  # fmt: skip
    rows = []
    for row in table.to_dict("records"):
        counted = str(row["unit"]) == "number"
        rows.append(
            (
                Cell(words(row["item"]), words(row["item"])),
                plain(float(row["amount"]), 0 if counted else 1),
                Cell(words(row["unit"]), words(row["unit"])),
                *(cell("quantities", n, row[n]) for n in names),
            )
        )
    return Table("quantities-table", "Quantities", heads, tuple(rows))


def count_by_severity(findings: pd.DataFrame) -> Mapping[str, int]:
    """How many findings there are of each severity."""
    counts = findings["severity"].value_counts()
    return {severity: int(counts.get(severity, 0)) for severity in ("stop", "caution", "note")}
