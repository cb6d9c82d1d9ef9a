"""Compares two plans, table by table; frames in, frames out."""

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from soakline.compare.comparison import Comparison, Side
from soakline.compare.findings import findings_changed
from soakline.compare.items import SPILLWAY_ITEMS, SWALE_ITEMS, Item
from soakline.compare.matching import (
    Pairs,
    pair_up,
    pair_up_within,
    require_same_property,
    scoped,
)
from soakline.compare.read import PlanTables, in_crs
from soakline.compare.totals import by_swale, totals
from soakline.compare.words import record_changed, words
from soakline.plan_file import file_and_digest


def differences(a: PlanTables, b: PlanTables) -> Comparison:
    """Compare two plans of one property.

    Parameters
    ----------
    a, b : plans; B's features are brought to A's CRS

    Returns
    -------
    Comparison

    Raises
    ------
    InputRefused
        If the plans are of different properties.
    """
    b = in_crs(b, a.property.crs)
    overlap_pct = require_same_property(a.property, b.property, str(b.path))
    pairs = _pairs(a, b)
    swales_a, swales_b = by_swale(a), by_swale(b)
    spillways_a, spillways_b = _placed(a.spillways), _placed(b.spillways)
    figures = pd.concat(
        [
            totals(a, b),
            _figures("swale", pairs["swales"], swales_a, swales_b, SWALE_ITEMS),
            _figures("spillway", pairs["spillways"], spillways_a, spillways_b, SPILLWAY_ITEMS),
            _quantities(a.quantities, b.quantities),
        ],
        ignore_index=True,
    )
    figures["change"] = figures["b"] - figures["a"]
    # A share of nothing is no figure.
    base = figures["a"].abs().where(figures["a"] != 0)
    figures["change_pct"] = 100.0 * figures["change"] / base
    findings, counts = findings_changed(a.findings, b.findings, pairs)
    return Comparison(
        a=_side(a),
        b=_side(b),
        overlap_pct=overlap_pct,
        pairs={n: pairs[n] for n in ("swales", "spillways", "overflow_routes", "safe_points")},
        figures=figures,
        words=words(a, b, pairs),
        findings=findings,
        finding_counts=counts,
        record=record_changed(a.run_record, b.run_record),
    )


def _side(plan: PlanTables) -> Side:
    record = plan.run_record
    try:
        asked_m = float(record.get("section.freeboard_m", "nan"))
    except ValueError:  # an edited record
        asked_m = np.nan
    name, sha256 = file_and_digest(record.get("input:rain", ""))
    return Side(
        plan.path,
        record.get("property.name", ""),
        name,
        sha256,
        asked_m,
    )


def _pairs(a: PlanTables, b: PlanTables) -> dict[str, Pairs]:
    """Pairs by layer: by place, sills within their swale, routes with their sills."""
    pairs = {
        layer: pair_up(
            getattr(a, layer)[column].to_list(),
            getattr(b, layer)[column].to_list(),
            getattr(a, layer).geometry.to_numpy(),
            getattr(b, layer).geometry.to_numpy(),
        )
        for layer, column in (
            ("swales", "swale_id"),
            ("safe_points", "safe_id"),
            ("drainage_lines", "line_id"),
            ("hollows", "hollow_id"),
        )
    }
    names = pairs["swales"].names
    pairs["spillways"] = pair_up_within(
        a.spillways["spillway_id"].to_list(),
        b.spillways["spillway_id"].to_list(),
        a.spillways["swale_id"].to_list(),
        [names.get(name, name) for name in b.spillways["swale_id"]],
        a.spillways.geometry.to_numpy(),
        b.spillways.geometry.to_numpy(),
    )
    pairs["overflow_routes"] = _route_pairs(a, b, dict(pairs["spillways"].both))
    return pairs


def _route_pairs(a: PlanTables, b: PlanTables, sills: Mapping[str, str]) -> Pairs:
    ours, theirs = (
        dict(zip(p.overflow_routes["spillway_id"], p.overflow_routes["route_id"], strict=True))
        for p in (a, b)
    )
    both = {ours[s]: theirs[sills[s]] for s in ours if sills.get(s) in theirs}
    return Pairs(
        tuple(both.items()),
        tuple(name for name in a.overflow_routes["route_id"] if name not in both),
        tuple(name for name in b.overflow_routes["route_id"] if name not in both.values()),
    )


def _placed(spillways: gpd.GeoDataFrame) -> pd.DataFrame:
    """Figures of spillways by id, with their places."""
    points = spillways.geometry.to_numpy()
    return pd.DataFrame(spillways.set_index("spillway_id")).assign(
        easting_m=shapely.get_x(points), northing_m=shapely.get_y(points)
    )


def _figures(
    scope: str, pairs: Pairs, a: pd.DataFrame, b: pd.DataFrame, items: tuple[Item, ...]
) -> pd.DataFrame:
    """Figures of features, item by item within a feature; frames are indexed by their own ids."""
    features = scoped(scope, pairs)
    names = [item.name for item in items]
    return pd.DataFrame(
        {
            "scope": features["scope"].repeat(len(items)).to_numpy(),
            "id": features["id"].repeat(len(items)).to_numpy(),
            "item": names * len(features),
            "unit": [item.unit for item in items] * len(features),
            "a": a[names].reindex(features["id_a"]).to_numpy(dtype=np.float64).ravel(),
            "b": b[names].reindex(features["id_b"]).to_numpy(dtype=np.float64).ravel(),
        }
    )


def _quantities(a: pd.DataFrame, b: pd.DataFrame) -> pd.DataFrame:
    """Amount, rate and cost of each thing in each unit; what neither plan prices has no cost."""
    key = ["id", "of"]
    ours, theirs = (
        table.rename(columns={"item": "id", "unit": "of"})
        .fillna({"id": "", "of": ""})
        .groupby(key, sort=False)
        .sum(min_count=1)
        for table in (a, b)
    )
    every = list(dict.fromkeys([*ours.index, *theirs.index]))
    both = pd.MultiIndex.from_tuples(every, names=key)
    rows = []
    for (name, of), first, second in zip(
        every, ours.reindex(both).itertuples(), theirs.reindex(both).itertuples(), strict=True
    ):
        units = {"amount": of, "rate": f"per {of}", "cost": ""}
        for item, unit in units.items():
            figures = np.array([getattr(first, item), getattr(second, item)], dtype=np.float64)
            if item == "amount" or not np.isnan(figures).all():
                rows.append(("quantity", name, item, unit, *figures))
    frame = pd.DataFrame(rows, columns=["scope", "id", "item", "unit", "a", "b"])
    return frame.astype({"a": np.float64, "b": np.float64})
