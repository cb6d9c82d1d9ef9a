"""Water: each storm's budget in each swale, what is handed down, levels and emptying."""

import numpy as np
import pandas as pd

from soakline.verify.line import FloatArray, Line, within
from soakline.verify.lips import of_swale
from soakline.verify.reading import Plan

_GROUP = "water"
_BUDGET = 1e-6
_HEIGHTS = 2001


def check_water(plan: Plan) -> list[Line]:
    """Lines about the storms of all swales."""
    each = plan["swale_storms"].merge(
        plan["storms"].drop_duplicates("storm_id")[["storm_id", "depth_mm", "purpose"]],
        on="storm_id",
        how="left",
    )
    own = plan["swale_catchments"].drop_duplicates("swale_id").set_index("swale_id")
    pond = own["ponded_m2"].reindex(each["swale_id"]).to_numpy(float)
    names = (each["swale_id"] + " in " + each["storm_id"]).to_numpy()
    inflow = each["inflow_m3"].to_numpy(float)
    scale = np.maximum(inflow, 1e-3)
    out = (each["stored_m3"] + each["infiltrated_m3"] + each["overflow_m3"]).to_numpy(float)
    came = (each["runoff_m3"] + each["received_m3"]).to_numpy(float)
    came = came + pond * each["depth_mm"].to_numpy(float) / 1000.0
    # Drains bring water of roofs and other ground besides.
    led = each["swale_id"].isin(set(plan["diversions"]["swale_id"])).to_numpy()
    gap = np.where(led, np.maximum(came - inflow, 0.0), np.abs(came - inflow))
    handed = _received(plan, each)
    given = each["received_m3"].to_numpy(float)
    full = len(plan["swales"]) * plan["storms"]["storm_id"].nunique()
    rows = len(each.drop_duplicates(["swale_id", "storm_id"]))
    terms = each[["stored_m3", "infiltrated_m3", "overflow_m3", "runoff_m3"]].to_numpy(float)
    return [
        within(_GROUP, "every swale in every storm once", "a row each",
               [abs(full - rows) + len(each) - rows], ["rows"], 0.0),
        within(_GROUP, "inflow = stored + soaked + spilled", "1e-6 of it",
               np.abs(out - inflow) / scale, names, _BUDGET),
        within(_GROUP, "inflow = runoff + rain on water + received", "1e-6 of it",
               gap / scale, names, _BUDGET),
        within(_GROUP, "received = what swales above spill, by sill length", "1e-6 of it",
               np.abs(handed - given) / np.maximum(given, 1.0), names, 1e-5),
        within(_GROUP, "no term below 0", "0 m³", -terms.min(axis=1), names, 1e-9, "m³"),
        *_runoff(plan, each),
        *_levels(plan, each),
        _emptying(plan),
    ]  # fmt: skip


def _received(plan: Plan, each: pd.DataFrame) -> FloatArray:
    """What comes down the routes of swales above, m³, for each row of `swale_storms`."""
    sills = plan["spillways"].drop_duplicates("spillway_id")
    length = sills.set_index("spillway_id")["sill_length_m"]
    total = sills.groupby("swale_id")["sill_length_m"].sum()
    routes = plan["overflow_routes"]
    down = routes[routes["to_kind"] == "swale"][["swale_id", "spillway_id", "to_id"]].copy()
    down["share"] = (
        length.reindex(down["spillway_id"]).to_numpy() / total.reindex(down["swale_id"]).to_numpy()
    )
    spilled = down.merge(each[["swale_id", "storm_id", "overflow_m3"]], on="swale_id")
    spilled["m3"] = spilled["share"] * spilled["overflow_m3"]
    sums = spilled.groupby(["to_id", "storm_id"])["m3"].sum()
    index = pd.MultiIndex.from_frame(each[["swale_id", "storm_id"]])
    found: FloatArray = sums.reindex(index).fillna(0.0).to_numpy(float)
    return found


def _runoff(plan: Plan, each: pd.DataFrame) -> list[Line]:
    own = plan["swale_catchments"]
    ids = own["swale_id"].to_numpy()
    dry = own["runoff_mm"] * (own["area_m2"] - own["ponded_m2"]) / 1000.0
    told = own["runoff_m3"].to_numpy(float)
    ground = plan["swale_ground"]
    ponds = ground[ground["part"] == "ponded"].groupby("swale_id")["area_m2"].sum()
    pond = np.abs(ponds.reindex(ids).to_numpy(float) - own["ponded_m2"].to_numpy(float))
    swales = plan["swales"].drop_duplicates("swale_id")
    design = swales[["swale_id", "governing_storm_id", "design_inflow_m3", "design_overflow_m3"]]
    governing = design.merge(
        each[["swale_id", "storm_id", "runoff_m3", "inflow_m3", "overflow_m3", "purpose"]],
        left_on=["swale_id", "governing_storm_id"], right_on=["swale_id", "storm_id"], how="left",
    )  # fmt: skip
    by_id = governing.set_index("swale_id")
    off = np.maximum(
        np.abs(governing["design_inflow_m3"] - governing["inflow_m3"]),
        np.abs(governing["design_overflow_m3"] - governing["overflow_m3"]),
    )
    most = each[each["purpose"] == "design"].groupby("swale_id")["overflow_m3"].max()
    over = most.reindex(governing["swale_id"]).to_numpy(float)
    short = over - governing["overflow_m3"].to_numpy(float)
    names = governing["swale_id"].to_numpy()
    stormy = by_id["runoff_m3"].reindex(ids).to_numpy(float)
    return [
        within(_GROUP, "runoff_m3 = runoff_mm × dry ground", "1e-6 of it",
               np.abs(dry.to_numpy(float) - told) / np.maximum(told, 1e-3), ids, _BUDGET),
        within(_GROUP, "runoff_m3 is that of the governing storm", "1e-6 of it",
               np.abs(stormy - told) / np.maximum(told, 1e-3), ids, _BUDGET),
        within(_GROUP, "ponded_m2 is the area of the ponded polygon", "0.01 m²", pond, ids, 0.01,
               "m²"),
        within(_GROUP, "design figures are those of the governing storm", "1 litre", off, names,
               0.001, "m³"),
        within(_GROUP, "no design storm spills more than the governing one", "1 litre", short,
               names, 0.001, "m³"),
    ]  # fmt: skip


def _levels(plan: Plan, each: pd.DataFrame) -> list[Line]:
    names = (each["swale_id"] + " in " + each["storm_id"]).to_numpy()
    crest = of_swale(plan, "swale_storms", "mound_top_level_m")
    gap = crest - each["max_level_m"].to_numpy(float)
    free = np.abs(gap - each["freeboard_m"].to_numpy(float))
    swales = plan["swales"]
    ids = swales["swale_id"].to_numpy()
    check = each[each["purpose"] == "check"].groupby("swale_id")["freeboard_m"].min()
    least = np.abs(check.reindex(ids).to_numpy(float) - swales["freeboard_m"].to_numpy(float))
    height = swales["mound_height_m"].to_numpy(float)
    top = np.abs(
        swales["level_m"].to_numpy(float) + height - swales["mound_top_level_m"].to_numpy(float)
    )
    # Where spoil is spread the sill is cut down, and water stays under the lip.
    wanted = plan.setting("section.freeboard_m", 0.15)
    findings = plan["findings"]
    about = findings["code"].str.contains("freeboard|mound|spoil|lip|overtop", na=False)
    told = set(findings["feature_id"][about])
    heaped = (height > 0.0) & ~np.array([one in told for one in ids], dtype=bool)
    lacks = wanted - swales["freeboard_m"].to_numpy(float)
    return [
        within(_GROUP, "freeboard_m of each storm = crest − highest water", "1 mm", free, names,
               0.001, "m"),
        within(_GROUP, "freeboard_m of swales is the least of check storms", "1 mm", least, ids,
               0.001, "m"),
        within(_GROUP, "mound_top_level_m = level_m + mound_height_m", "1 mm", top, ids, 0.001,
               "m"),
        within(_GROUP, "freeboard over the check storm", f"{wanted:g} m or told",
               lacks[heaped], ids[heaped], 0.001, "m"),
    ]  # fmt: skip


def _emptying(plan: Plan) -> Line:
    """From full to empty by soaking: the time in which each height's surface sinks, summed.

    dt = surface(y) dy / (rate × wetted ground(y)), ends battered like the sides.
    """
    swales = plan["swales"]
    b, m = swales["base_width_m"].to_numpy(float), swales["batter"].to_numpy(float)
    base = swales["length_m"].to_numpy(float) - 2.0 * m * swales["depth_m"].to_numpy(float)
    # Equal steps of the square root: the surface changes fastest near the base.
    y = np.linspace(0.0, 1.0, _HEIGHTS)[:, None] ** 2 * full_depth_m(plan)
    surface = (b + 2.0 * m * y) * (base + 2.0 * m * y)
    wetted = b * base + 2.0 * np.sqrt(1.0 + m * m) * y * (b + base + 2.0 * m * y)
    if "soaking_mm_h" not in swales.columns:
        rate = np.full(len(swales), plan.setting("soaking_rate_mm_h", np.nan))
    else:
        rate = swales["soaking_mm_h"].to_numpy(float)
    hours = np.trapezoid(surface / wetted, y, axis=0) / (rate / 1000.0)
    told = swales["drain_down_h"].to_numpy(float)
    bridged = set(plan["crossings"]["swale_id"])
    free = np.array([one not in bridged for one in swales["swale_id"]], dtype=bool)
    off = 100.0 * np.abs(hours / told - 1.0)
    return within(_GROUP, "drain_down_h by soaking of the wetted ground", "1 %", off[free],
                  swales["swale_id"].to_numpy()[free], 1.0, "%")  # fmt: skip


def full_depth_m(plan: Plan) -> FloatArray:
    """Depth of the water when it reaches the sill, or the lowest lip measured, (swales,) m."""
    swales = plan["swales"]
    highest = plan["spillways"].groupby("swale_id")["sill_level_m"].max()
    level = swales["level_m"].to_numpy(float)
    sill = highest.reindex(swales["swale_id"]).to_numpy(float)
    # A sill anywhere but at its level is told of on its own line.
    spread = swales["mound_height_m"].to_numpy(float) == 0.0
    drop = np.where(spread, np.nan_to_num(level - sill), 0.0)
    depth: FloatArray = swales["depth_m"].to_numpy(float) - drop
    if "lip_low_m" in swales.columns:
        sunk = level - swales["lip_low_m"].to_numpy(float)
        depth = np.minimum(depth, swales["depth_m"].to_numpy(float) - np.nan_to_num(sunk))
    return depth
