"""A comparison for other programs: JSON and CSV with every figure at full precision."""

import json
import math
from typing import Any

import pandas as pd

from soakline.compare.comparison import Comparison, Side
from soakline.compare.summary import summary
from soakline.csv_cells import plain_cells

FORMAT_VERSION = 1
_SCOPES = {
    "swales": "swale",
    "spillways": "spillway",
    "overflow_routes": "route",
    "safe_points": "safe_point",
}
CSV_COLUMNS = ("scope", "id", "item", "unit", "a", "b", "change", "change_pct")


def as_json(comparison: Comparison) -> str:
    """The whole comparison as one JSON object; its keys are told in docs/compare.md."""
    figures, words = comparison.figures, comparison.words
    short = comparison.freeboard_short.rename_axis("id").reset_index()
    facts = {
        "format_version": FORMAT_VERSION,
        "a": _side(comparison.a),
        "b": _side(comparison.b),
        "overlap_pct": comparison.overlap_pct,
        "summary": summary(comparison),
        "totals": _rows(figures[figures["scope"] == "plan"].drop(columns=["scope", "id"])),
        **{
            layer: [
                feature
                for state, suffix in (("both", ""), ("vanished", "_vanished"),
                                      ("appeared", "_appeared"))
                for feature in _features(figures, words, scope + suffix, state)
            ]
            for layer, scope in _SCOPES.items()
        },
        "now_spilling": list(comparison.now_spilling),
        "now_holding": list(comparison.now_holding),
        "freeboard_short": _rows(short),
        "quantities": _rows(figures[figures["scope"] == "quantity"].drop(columns="scope")),
        "findings": _rows(comparison.findings),
        "finding_counts": _rows(comparison.finding_counts),
        "record": _rows(comparison.record),
    }  # fmt: skip
    return json.dumps(facts, indent=1, ensure_ascii=False, allow_nan=False)


def as_csv(comparison: Comparison) -> str:
    """One row a figure or text: `CSV_COLUMNS`, as told in docs/compare.md."""
    findings = comparison.findings
    whole = findings["feature_id"].where(findings["feature_id"] != "", findings["layer"])
    texts = [
        comparison.words,
        findings.assign(scope="finding", id=whole, item=findings["code"]),
        comparison.record.assign(scope="record", id="", item=comparison.record["key"]),
    ]
    parts = [comparison.figures.astype(object)]
    for frame in texts:
        change = [_text_change(a, b) for a, b in zip(frame["a"], frame["b"], strict=True)]
        parts.append(frame.assign(unit="", change=change, change_pct=None).astype(object))
    together = pd.concat([part[list(CSV_COLUMNS)] for part in parts], ignore_index=True)
    return plain_cells(together).to_csv(index=False, lineterminator="\n")


def _text_change(a: str | None, b: str | None) -> str:
    if a == b:
        return ""
    return "appeared" if a is None else "vanished" if b is None else "changed"


def _side(side: Side) -> dict[str, Any]:
    asked = side.freeboard_asked_m
    return {
        "file": str(side.path),
        "name": side.name,
        "rain_table": side.rain_table,
        "rain_sha256": side.rain_sha256,
        "freeboard_asked_m": None if math.isnan(asked) else asked,
    }


def _rows(frame: pd.DataFrame) -> list[dict[str, Any]]:
    plain = frame.astype(object)
    columns = [str(name) for name in plain.columns]
    rows = plain.where(plain.notna(), None).to_numpy().tolist()
    return [dict(zip(columns, row, strict=True)) for row in rows]


def _features(
    figures: pd.DataFrame, words: pd.DataFrame, scope: str, state: str
) -> list[dict[str, Any]]:
    """Features of one scope with their figures and words by item."""
    features: dict[str, dict[str, Any]] = {}
    for name, kind in ((f, k) for k, f in (("words", words), ("figures", figures))):
        for row in _rows(name[name["scope"] == scope].drop(columns="scope")):
            feature = features.setdefault(
                row["id"], {"id": row["id"], "state": state, "words": {}, "figures": {}}
            )
            item = row["item"]
            feature[kind][item] = {k: v for k, v in row.items() if k not in ("id", "item")}
    return list(features.values())
