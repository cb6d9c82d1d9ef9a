"""Earth: capacity and cut from the section's own geometry, pegs, and the sums of quantities."""

import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from soakline.verify.dem import Dem
from soakline.verify.line import FloatArray, Line, none_of, within
from soakline.verify.lips import along, of_swale
from soakline.verify.reading import Plan, shapes_of
from soakline.verify.water import full_depth_m

_GROUP = "earth"
_APART_M = 10.0
_BESIDE_M = 0.5  # on either side of a peg, for the lip's direction there
_ACROSS = np.linspace(0.0, 1.0, 9)
# Spoil off the edge of a trench whose face is higher than this; 2 ft, 29 CFR 1926.651(j)(2).
_FACE_M, _SPOIL_OFF_M, _SHORT_M, _ROUNDED_M = 1.2, 0.6, 0.05, 0.001
_STEP_M = 1.0


def check_sections(plan: Plan, dem: Dem) -> list[Line]:
    """Lines about volumes, from the columns of the section and the pegs."""
    swales = plan["swales"]
    ids = swales["swale_id"].to_numpy()
    b, m = swales["base_width_m"].to_numpy(float), swales["batter"].to_numpy(float)
    d, length = swales["depth_m"].to_numpy(float), swales["length_m"].to_numpy(float)
    full = full_depth_m(plan)
    top = np.abs(b + 2.0 * m * full - swales["top_width_m"].to_numpy(float))
    told = swales["capacity_m3"].to_numpy(float)
    least = _prism_m3(b, length - 2.0 * m * d, m, full)
    fill = _causeways_m3(plan)
    high = np.maximum(told - least, 0.0) / least
    low = np.maximum(least - fill - told, 0.0) / least
    measured = _cut_m3(plan, dem, b, m, d, length)
    with np.errstate(divide="ignore"):  # without pegs nothing is measured
        off = np.abs(swales["cut_m3"].to_numpy(float) / measured - 1.0)
    spoil = (1.0 + plan.setting("earthworks.swell_pct", 25.0) / 100.0) * (
        1.0 - plan.setting("earthworks.settlement_pct", 10.0) / 100.0
    )
    settled = np.abs(swales["fill_m3"] / (spoil * swales["cut_m3"]) - 1.0).to_numpy(float)
    dug = swales["cut_m3"].to_numpy(float) > 0.0
    # Cells over 10 m set no pegs.
    pegged = dug & (len(plan["pegs"]) > 0)
    return [
        within(_GROUP, "top_width_m = base + 2 × batter × depth of water", "1 mm",
               _known(plan, top), ids, 0.001, "m"),
        within(_GROUP, "capacity_m3 by the section, ends battered", "0.5 %, less causeways",
               100.0 * np.maximum(high, low), ids, 0.5, "%"),
        within(_GROUP, "cut_m3 by average end area along the pegs", "3 %", 100.0 * off[pegged],
               ids[pegged], 3.0, "%"),
        within(_GROUP, "fill_m3 = cut_m3 × swell × settlement", "0.1 %", 100.0 * settled[dug],
               ids[dug], 0.1, "%"),
    ]  # fmt: skip


def _known(plan: Plan, off: FloatArray) -> FloatArray:
    """The same, 0 where the lip was measured lower: the width told is that at the planned sill."""
    if "lip_low_m" not in plan["swales"].columns:
        return off
    measured = plan["swales"]["lip_low_m"].notna().to_numpy()
    return np.where(measured, 0.0, off)


def _prism_m3(b: FloatArray, base: FloatArray, m: FloatArray, y: FloatArray) -> FloatArray:
    """Water y deep over a base b × B with sides and ends at batter m, by Simpson: exact here."""
    middle = (b + m * y) * (base + m * y)
    top = (b + 2.0 * m * y) * (base + 2.0 * m * y)
    volume: FloatArray = y / 6.0 * (b * base + 4.0 * middle + top)
    return volume


def _causeways_m3(plan: Plan) -> FloatArray:
    """Most that the fill of causeways takes of each swale, m³."""
    crossings, ids = plan["crossings"], plan["swales"]["swale_id"]
    if "refill_m3" not in crossings.columns:
        return np.zeros(len(ids))
    taken = crossings.groupby("swale_id")["refill_m3"].sum()
    found: FloatArray = taken.reindex(ids).fillna(0.0).to_numpy(float)
    return found


def _cut_m3(
    plan: Plan, dem: Dem, b: FloatArray, m: FloatArray, d: FloatArray, length: FloatArray
) -> FloatArray:
    """Cut of each swale from its pegs: the section between the lip and the daylight edge.

    Ground is measured on the DEM square to the lip, from the lip to where the peg says that the cut
    face meets it, taken straight in plans that do not say where. Both ends are battered: from full
    section to nothing over m times the depth.
    """
    pegs, cuts = _pegs(plan), plan.more.get("peg_cuts")
    pegs = pegs.sort_values(["swale_id", "chainage_m"], kind="stable")
    number = pd.Series(np.arange(len(plan["swales"])), index=plan["swales"]["swale_id"])
    number = number[~number.index.duplicated()]
    of = number.reindex(pegs["swale_id"]).to_numpy(float)
    known = ~np.isnan(of)
    pegs, of = pegs[known], of[known].astype(int)
    e = (pegs["ground_m"] - pegs["level_m"]).to_numpy(float)
    top = (b + 2.0 * m * d)[of]
    s = plan["swales"]["slope_pct"].to_numpy(float)[of] / 100.0
    if cuts is not None:
        x = pegs["daylight_mm"].to_numpy(float) / 1000.0
    else:
        x = (top + m[of] * e) / (1.0 - s * m[of])
    above = _profile_m(plan, dem, pegs, of, x) - pegs["level_m"].to_numpy(float)[:, None]
    above = np.where(np.isnan(above), e[:, None] + s[:, None] * x[:, None] * _ACROSS, above)
    wedge = x * np.trapezoid(above, _ACROSS, axis=1)
    area = d[of] * (b + m * d)[of] + wedge - (x - top) * above[:, -1] / 2.0
    along = pegs["chainage_m"].to_numpy(float)
    next_one = (np.diff(of, append=-1) == 0)[:-1]
    slices = (np.diff(along) * (area[1:] + area[:-1]) / 2.0)[next_one]
    whole = np.bincount(of[:-1][next_one], weights=slices, minlength=len(number))
    # A battered end keeps of its section about half, over the batter's run.
    mean = whole / np.maximum(length, 1e-9)
    ends: FloatArray = whole - mean * m * d
    return ends


def _pegs(plan: Plan) -> pd.DataFrame:
    """Pegs, with what is dug beside them where the plan tells it."""
    cuts = plan.more.get("peg_cuts")
    return plan["pegs"] if cuts is None else plan["pegs"].merge(cuts, on="fid", how="left")


def check_berms(plan: Plan) -> list[Line]:
    """A line about mounds beside high cut faces, square to the lip, its very ends left out."""
    swales, ground, pegs = plan["swales"], plan["swale_ground"], _pegs(plan)
    face = swales["face_height_m"].to_numpy(float)
    if "dig_below_mm" in pegs.columns:
        # Where the base lies on a layer it is dug deeper, and faces are as much higher.
        below = pegs.groupby("swale_id")["dig_below_mm"].max() / 1000.0
        face = face + below.reindex(swales["swale_id"]).fillna(0.0).to_numpy(float)
    points = plan.more.get("swale_points")
    if points is not None and {"swale_id", "kind", "face_height_m"} <= set(points.columns):
        # Pits are filled on the day on which they are dug.
        told = pd.to_numeric(points["face_height_m"], errors="coerce")
        told = told[points["kind"] != "organic_pit"]
        dug = told.groupby(points["swale_id"]).max()
        face = np.maximum(face, dug.reindex(swales["swale_id"]).fillna(0.0).to_numpy(float))
    what = f"mound off the lip where the cut face is over {_FACE_M:g} m"
    allowed = f"{_SPOIL_OFF_M:g} m, short by at most {100.0 * _SHORT_M:g} cm"
    high = face > _FACE_M + _ROUNDED_M
    if not high.any():
        return [within(_GROUP, what, allowed, [], [], _SHORT_M)]
    ids = swales["swale_id"].to_numpy()[high]
    mounds = ground[ground["part"] == "mound"].groupby("swale_id")["geometry"].agg(list)
    own = np.array([shapely.union_all(mounds.get(one, [])) for one in ids], dtype=object)
    here = along(swales["geometry"].to_numpy()[high], _STEP_M)
    inside = (np.diff(here.of, prepend=-1) == 0) & (np.diff(here.of, append=-1) == 0)
    of, place, ahead = here.of[inside], here.place[inside], here.ahead[inside]
    right = np.column_stack([ahead[:, 1], -ahead[:, 0]])
    across = shapely.linestrings(np.stack([place, place + _SPOIL_OFF_M * right], axis=1))
    short = np.zeros(len(ids))
    np.maximum.at(short, of, shapely.length(shapely.intersection(across, own[of])))
    return [within(_GROUP, what, allowed, short, ids, _SHORT_M, "m")]


def _profile_m(
    plan: Plan, dem: Dem, pegs: pd.DataFrame, of: npt.NDArray[np.int64], x: FloatArray
) -> FloatArray:
    """Ground from the lip to x metres uphill of it, square to the lip, (pegs, places) m."""
    lips = shapely.force_2d(plan["swales"]["geometry"].to_numpy())[of]
    at = pegs["chainage_m"].to_numpy(float)
    ends = [
        shapely.get_coordinates(shapely.line_interpolate_point(lips, np.maximum(at + step, 0.0)))
        for step in (-_BESIDE_M, 0.0, _BESIDE_M)
    ]
    ahead = ends[2] - ends[0]
    ahead /= np.maximum(np.hypot(*ahead.T), 1e-9)[:, None]
    left = np.column_stack([-ahead[:, 1], ahead[:, 0]])
    off = (x[:, None] * _ACROSS)[:, :, None]
    places = ends[1][:, None, :] + off * left[:, None, :]
    return dem.ground(places.reshape(-1, 2)).reshape(len(pegs), _ACROSS.size)


def check_pegs(plan: Plan, dem: Dem) -> list[Line]:
    """Lines about pegs: on the lip, in order, heights those of lip, base, ground."""
    pegs = plan["pegs"]
    ids, points = pegs["peg_id"].to_numpy(), pegs["geometry"].to_numpy()
    lip = shapes_of(plan["swales"].set_index("swale_id")["geometry"], pegs["swale_id"])
    at = pegs["chainage_m"].to_numpy(float)
    on = shapely.line_interpolate_point(shapely.force_2d(lip), at)
    level = pegs["level_m"].to_numpy(float)
    base = level - of_swale(plan, "pegs", "depth_m")
    ground = dem.ground(shapely.get_coordinates(points))
    told = pegs["ground_m"].to_numpy(float)
    height = np.maximum(np.abs(level - of_swale(plan, "pegs", "level_m")),
                        np.abs(shapely.get_z(points) - level))  # fmt: skip
    crest = np.abs(of_swale(plan, "pegs", "mound_top_level_m") - pegs["mound_top_level_m"])
    cut = np.abs(told - pegs["base_level_m"] - pegs["cut_m"]).to_numpy(float)
    ordered = pegs.sort_values(["swale_id", "chainage_m"], kind="stable")
    same = (ordered["swale_id"] == ordered["swale_id"].shift()).to_numpy()
    step = np.where(same, np.diff(ordered["chainage_m"].to_numpy(float), prepend=0.0), 0.0)
    kinds = pegs.groupby("swale_id")["kind"].agg(list)
    bare = [
        one
        for one in plan["swales"]["swale_id"]
        if one not in kinds.index or not {"start", "end"} <= set(kinds[one])
    ]
    if not len(pegs) and plan.setting("cell_size_m", 1.0) > 10.0:
        bare = []  # on such coarse cells nothing is set out
    return [
        within(_GROUP, "peg on its lip at its chainage", "1 cm", shapely.distance(points, on), ids,
               0.01, "m"),
        within(_GROUP, "peg's level_m and height are the lip's", "1 mm", height, ids, 0.001, "m"),
        within(_GROUP, "base_level_m = level_m − depth", "1 mm",
               np.abs(base - pegs["base_level_m"].to_numpy(float)), ids, 0.001, "m"),
        within(_GROUP, "ground_m is the DEM's ground", "5 mm", np.abs(ground - told), ids, 0.005,
               "m"),
        within(_GROUP, "cut_m = ground_m − base_level_m", "1 mm", cut, ids, 0.001, "m"),
        within(_GROUP, "mound_top_level_m is the swale's", "1 mm", crest.to_numpy(float), ids,
               0.001, "m"),
        within(_GROUP, "pegs no further apart than 10 m", "10 m", step,
               ordered["peg_id"].to_numpy(), _APART_M + 1e-6, "m"),
        none_of(_GROUP, "pegs at start and end of every lip", "all", bare, len(plan["swales"])),
    ]  # fmt: skip


def check_quantities(plan: Plan) -> list[Line]:
    """Sums of quantities against the layers they count, and costs against rates."""
    listed = plan["quantities"]
    amount = listed.drop_duplicates("item").set_index("item")["amount"]
    swales = plan["swales"]
    built = swales.get("state", pd.Series("planned", index=swales.index)) == "built"
    dug = swales[~built.to_numpy()]
    own = plan["spillways"]
    to_dig = set(dug["swale_id"])
    sums = {
        "swales": float(len(dug)),
        "lip": dug["length_m"].sum(),
        "cut": dug["cut_m3"].sum(),
        "fill, settled": dug["fill_m3"].sum(),
        "sill": own["sill_length_m"][own["swale_id"].isin(to_dig)].sum(),
        "spillways": float(own["swale_id"].isin(to_dig).sum()),
        "pegs": float(plan["pegs"]["swale_id"].isin(to_dig).sum()),
    }
    names = [name for name in sums if name in amount.index]
    off = [abs(float(amount[name]) - sums[name]) / max(sums[name], 1.0) for name in names]
    priced = listed[listed["rate"].notna()]
    cost = np.abs(priced["amount"] * priced["rate"] - priced["cost"]) / np.maximum(
        np.abs(priced["cost"]), 1.0
    )
    return [
        within("quantities", "amounts are the sums of the layers", "1e-6 of them", off, names,
               1e-6),
        within("quantities", "cost = amount × rate", "1e-6 of it", cost.to_numpy(float),
               priced["item"].to_numpy(), 1e-6),
    ]  # fmt: skip
