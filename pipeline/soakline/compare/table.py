"""A comparison for reading: sentences first, then tables of what changed."""

import math
from collections.abc import Iterable, Sequence

import pandas as pd

from soakline.compare.comparison import Comparison, Side
from soakline.compare.items import PLAN_ITEMS
from soakline.compare.matching import NEAR_M
from soakline.compare.printed import (
    GAP,
    WIDTH,
    change,
    changed,
    cut,
    figure,
    figures,
    grid,
    wrapped,
)
from soakline.compare.summary import names, summary
from soakline.compare.swale_table import swale_tables

_LISTED = 20


def as_text(comparison: Comparison, everything: bool = False) -> str:
    """Sentences, totals, swales, features, findings and the record.

    Parameters
    ----------
    comparison : Comparison
    everything : rows without a change, what follows from others, and whole lists too

    Returns
    -------
    lines of at most 100 characters; figures as far as they are printed decide what is a change
    """
    blocks = [
        _sides(comparison.a, comparison.b),
        [line for text in summary(comparison) for line in wrapped(text)],
        _totals(comparison.figures, everything),
        _quantities(comparison.figures, everything),
        *swale_tables(comparison.figures, everything),
        _words(comparison, everything),
        _features(comparison, everything),
        _findings(comparison, everything),
        _record(comparison),
    ]
    return "\n\n".join("\n".join(block) for block in blocks if block)


def _sides(a: Side, b: Side) -> list[str]:
    lines = []
    for letter, side in (("A", a), ("B", b)):
        file = side.path if a.path.name == b.path.name else side.path.name
        rain = f"rain {side.rain_table} ({side.rain_sha256[:12]}…)" if side.rain_table else ""
        lines.append(
            cut(f"{letter}: {', '.join(filter(None, (str(file), side.name, rain)))}", WIDTH)
        )
    return lines


def _figure_rows(head: str, frame: pd.DataFrame, titles: Iterable[str]) -> list[str]:
    rows = [(head, "unit", "A", "B", "change", "%")]
    for title, (unit, a, b, moved, moved_pct) in zip(titles, figures(frame), strict=True):
        shown = change(moved, unit)
        share = f"{moved_pct:+,.1f}" if shown and not math.isnan(moved_pct) else ""
        rows.append((title, unit, figure(a, unit), figure(b, unit), shown, share))
    return grid(rows, 2)


def _totals(every: pd.DataFrame, everything: bool) -> list[str]:
    frame = every[every["scope"] == "plan"]
    frame = frame if everything else frame[changed(frame)]
    if frame.empty:
        return ["Totals: no change"]
    titles = {item.name: item.total_title for item in PLAN_ITEMS}
    lines = _figure_rows("Totals", frame, frame["item"].map(titles))
    alike = [item.title for item in PLAN_ITEMS if item.name not in set(frame["item"])]
    return [*lines, *wrapped(f"No change in {', '.join(alike)}.")] if alike else lines


def _quantities(every: pd.DataFrame, everything: bool) -> list[str]:
    """Quantities; only with everything those that are told among the totals already."""
    frame = every[every["scope"] == "quantity"]
    if not everything:
        told, known = (
            list(rows[["unit", "a", "b"]].round(6).itertuples(index=False, name=None))
            for rows in (every[every["scope"] == "plan"], frame)
        )
        new = pd.Series([row not in told for row in known], frame.index, dtype=bool)
        frame = frame[new & changed(frame)]
    if frame.empty:
        return []
    titles = [
        name if item == "amount" else f"{name}, {item}"
        for name, item in zip(frame["id"], frame["item"], strict=True)
    ]
    return _figure_rows("Quantities", frame, titles)


_WORDS = {
    "state": "State",
    "governing_storm_id": "Governing storm",
    "overflow_to": "Overflow goes to",
}


def _words(comparison: Comparison, everything: bool) -> list[str]:
    """What changed in words, the swales with the same change together."""
    words = comparison.words[comparison.words["scope"] == "swale"].fillna("none")
    words = words[words["a"] != words["b"]]
    lines = []
    for item, title in _WORDS.items():
        rows = words[words["item"] == item]
        if rows.empty:
            continue
        lines.append(title)
        for (a, b), group in rows.groupby(["a", "b"], sort=False):
            ids = names(group["id"].to_list(), None if everything else _LISTED)
            lines += wrapped(f"{ids}: {a} → {b}", GAP)
    return lines


_LAYERS = {
    "swales": ("swale", "swales"),
    "spillways": ("spillway", "spillways"),
    "overflow_routes": ("overflow route", "overflow routes"),
    "safe_points": ("safe point", "safe points"),
}


def _features(comparison: Comparison, everything: bool) -> list[str]:
    """What vanished, appeared or moved; sills and routes of swales that did so go without saying.

    A route is told only where its sill does not say it already: both have the same number.
    """
    swales = comparison.pairs["swales"]
    gone = {"vanished": set(swales.vanished), "appeared": set(swales.appeared)}

    def told(layer: str, how: str) -> list[str]:
        ids: Sequence[str] = getattr(comparison.pairs[layer], how)
        if everything or layer == "swales":
            return list(ids)
        # What belongs to a swale starts with its id.
        own = [name for name in ids if name.partition("-")[0] not in gone[how]]
        sills = told("spillways", how) if layer == "overflow_routes" else []
        return [name for name in own if name.replace("-R", "-W") not in sills]

    rows = [(layer, how, told(layer, how)) for layer in _LAYERS for how in gone]
    rows.insert(4, ("spillways", f"moved over {NEAR_M:g} m", list(comparison.moved_spillways)))
    lines = []
    for layer, how, ids in rows:
        if ids:
            noun = _LAYERS[layer][0 if len(ids) == 1 else 1]
            shown = names(ids, None if everything else _LISTED)
            lines += wrapped(f"{len(ids)} {noun} {how}: {shown}", GAP)
    renumbered = [f"{a} is {b} in B" for a, b in swales.renumbered]
    if renumbered:
        lines += wrapped(f"other ids: {names(renumbered, None if everything else 8)}", GAP)
    return ["Features, by their id in the plan that has them", *lines] if lines else []


def _findings(comparison: Comparison, everything: bool) -> list[str]:
    """Counts by code, then names; features that only one plan has go without saying."""
    counts = comparison.finding_counts
    if not everything:
        counts = counts[(counts["appeared"] > 0) | (counts["vanished"] > 0)]
    if counts.empty:
        return []
    rows = [tuple(map(str, row)) for row in counts.itertuples(index=False)]
    lines = grid([("Findings", "severity", "A", "B", "appeared", "vanished"), *rows], 2)
    findings = comparison.findings[comparison.findings["feature_id"] != ""]
    if not everything:
        one_sided = {
            (layer, name)
            for layer, pairs in comparison.pairs.items()
            for name in (*pairs.vanished, *(pairs.names[own] for own in pairs.appeared))
        }
        keys = zip(findings["layer"], findings["feature_id"], strict=True)
        findings = findings[[key not in one_sided for key in keys]]
    for side, how in (("b", "appeared"), ("a", "vanished")):
        for (code, severity), group in findings.dropna(subset=[side]).groupby(["code", side]):
            ids = names(group["feature_id"].to_list(), None if everything else _LISTED)
            lines += wrapped(f"{code} ({severity}) {how}: {ids}", GAP)
    return lines


def _record(comparison: Comparison) -> list[str]:
    rows = [
        (cut(key, 32), *("–" if v is None else cut(v, 32) or '""' for v in (a, b)))
        for key, a, b in comparison.record.itertuples(index=False)
    ]
    return grid([("Run record", "A", "B"), *rows], 3) if rows else []
