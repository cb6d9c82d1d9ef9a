"""What two plans say in words: ids, states, governing storms, ends of overflow, the record."""

import re
from collections.abc import Mapping

import geopandas as gpd
import pandas as pd

from soakline.compare.matching import Pairs, scoped
from soakline.compare.read import PlanTables

_SILENT = re.compile(r"started|finished|run_file_text|(timing_|host_|default:).*")
"""Keys of the record that differ between two runs of one thing, or only repeat another key."""
_OF_SWALES = ["swale_id", "state", "governing_storm_id"]


def words(a: PlanTables, b: PlanTables, pairs: Mapping[str, Pairs]) -> pd.DataFrame:
    """Ids, states, governing storms and where the overflow goes."""
    ours = _where_it_goes(a.overflow_routes, {})
    theirs = _where_it_goes(b.overflow_routes, pairs)

    def texts(plan: PlanTables, ends: pd.DataFrame) -> dict[str, pd.DataFrame]:
        swales = plan.swales.set_index("swale_id", drop=False)[_OF_SWALES]
        # A swale whose routes run to several places names each once.
        together = ends.groupby("swale_id")["overflow_to"].agg(lambda e: "; ".join(sorted(set(e))))
        by_route = ends.set_index("route_id", drop=False)[["route_id", "overflow_to"]]
        safe = plan.safe_points[["safe_id"]].set_index("safe_id", drop=False)
        spillways = plan.spillways[["spillway_id"]].set_index("spillway_id", drop=False)
        return {
            "swale": swales.assign(overflow_to=together.reindex(swales.index)),
            "spillway": spillways,
            "route": by_route,
            "safe_point": safe,
        }

    layers = ("swales", "spillways", "overflow_routes", "safe_points")
    parts = []
    for layer, (scope, first), second in zip(
        layers, texts(a, ours).items(), texts(b, theirs).values(), strict=True
    ):
        features = scoped(scope, pairs[layer])
        found_a = first.reindex(features["id_a"]).astype(object)
        found_b = second.reindex(features["id_b"]).astype(object)
        items = first.columns.to_list()
        columns = {
            "scope": features["scope"].repeat(len(items)).to_numpy(),
            "id": features["id"].repeat(len(items)).to_numpy(),
            "item": items * len(features),
            "a": found_a.where(found_a.notna(), None).to_numpy().ravel(),
            "b": found_b.where(found_b.notna(), None).to_numpy().ravel(),
        }
        parts.append(pd.DataFrame(columns, dtype=object))
    return pd.concat(parts, ignore_index=True)


_LAYER_OF_END = {
    "swale": "swales",
    "drainage_line": "drainage_lines",
    "hollow": "hollows",
    "dam": "safe_points",
    "safe_point": "safe_points",
}


def _where_it_goes(routes: gpd.GeoDataFrame, pairs: Mapping[str, Pairs]) -> pd.DataFrame:
    """Routes with `overflow_to`, such as "swale S004", ids as A has them; no pairs for A itself."""

    def end(kind: str, name: str) -> str:
        layer = _LAYER_OF_END.get(kind, "")
        names = pairs[layer].names if layer in pairs else {}
        return f"{kind} {names.get(name, name)}".rstrip()

    kinds, ids = (routes[column].fillna("").astype(str) for column in ("to_kind", "to_id"))
    ends = [end(kind, name) for kind, name in zip(kinds, ids, strict=True)]
    return pd.DataFrame(routes[["route_id", "swale_id"]]).assign(overflow_to=ends)


def record_changed(a: Mapping[str, str], b: Mapping[str, str]) -> pd.DataFrame:
    """Keys of the run record that differ, with both values; null where a plan lacks the key."""
    keys = [key for key in dict.fromkeys([*a, *b]) if not _SILENT.fullmatch(key)]
    rows = [(key, a.get(key), b.get(key)) for key in keys if a.get(key) != b.get(key)]
    return pd.DataFrame(rows, columns=["key", "a", "b"], dtype=object)
