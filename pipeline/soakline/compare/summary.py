"""What changed, in a few plain sentences."""

import math
from collections.abc import Sequence

from soakline.compare.comparison import Comparison
from soakline.compare.items import decimals

_NAMED = 8
_FILES = {"rain.table", "property.dem", "property.boundary", "property.features"}
"""Keys whose files are told of by what they hold."""


def names(ids: Sequence[str], most: int | None = _NAMED) -> str:
    """Ids in a row; those over `most` are only counted.

    Examples
    --------
    >>> names(["S001", "S002", "S003"], 2)
    'S001, S002 and 1 more'
    """
    if most is None or len(ids) <= most:
        return ", ".join(ids)
    return f"{', '.join(ids[:most])} and {len(ids) - most} more"


def summary(comparison: Comparison) -> list[str]:
    """Sentences for a reader in a hurry: the gravest last but one, the causes last.

    Parameters
    ----------
    comparison : Comparison
    """
    sentences = [
        _which_swales(comparison),
        _spill(comparison),
        _leaving(comparison),
        _freeboard(comparison),
        _ways(comparison),
        _findings(comparison),
        _causes(comparison),
    ]
    return [sentence for sentence in sentences if sentence]


def _of(count: int, total: int, noun: str = "swale") -> str:
    return f"{count} of {total} {noun}{'' if total == 1 else 's'}"


def _verb(count: int, singular: str, plural: str) -> str:
    return singular if count == 1 else plural


def _which_swales(comparison: Comparison) -> str:
    pairs = comparison.pairs["swales"]
    both, gone, new = len(pairs.both), len(pairs.vanished), len(pairs.appeared)
    if not gone and not new:
        text = f"Both plans hold the same {both} {_verb(both, 'swale', 'swales')}"
    else:
        text = (
            f"Of {both + gone} swales in A, {both} {_verb(both, 'is', 'are')} in B too, {gone} "
            f"vanished; {new} appeared"
        )
    if pairs.renumbered:
        count = len(pairs.renumbered)
        text += f"; {count} {_verb(count, 'bears', 'bear')} another id in B"
    return f"{text}."


def _spill(comparison: Comparison) -> str:
    spill = comparison.of_swales("design_overflow_m3")
    if spill.empty:
        return ""
    step = 0.5 * 10.0 ** -decimals("m³")
    rise = spill["b"] - spill["a"]
    more, less = int((rise > step).sum()), int((rise < -step).sum())
    if not more and not less:
        spilling = int((spill["b"] > 0).sum())
        text = (
            f"Every swale spills what it did in the design storm: {spilling} of {len(spill)} spill."
        )
    elif more:
        rest = f"{less} {_verb(less, 'spills', 'spill')} less" if less else "none spills less"
        text = (
            f"{_of(more, len(spill))} {_verb(more, 'spills', 'spill')} more in the design storm, "
        )
        text += f"{rest}."
    else:
        text = (
            f"{_of(less, len(spill))} {_verb(less, 'spills', 'spill')} less in the design storm, "
        )
        text += "none spills more."
    now, held = comparison.now_spilling, comparison.now_holding
    if now:
        verb = _verb(len(now), "spills", "spill")
        text += f" {len(now)} {verb} now and did not before: {names(now)}."
    if held:
        verb = _verb(len(held), "holds", "hold")
        text += f" {len(held)} {verb} it now and did not before: {names(held)}."
    return text


def _leaving(comparison: Comparison) -> str:
    figures = comparison.figures[comparison.figures["item"] == "leaving_m3"]
    a, b, change_pct = (float(figures[name].iloc[0]) for name in ("a", "b", "change_pct"))
    if abs(b - a) < 0.5:
        return ""
    share = "" if math.isnan(change_pct) else f" ({change_pct:+.1f} %)"
    return (
        f"In the design storm that asks most, {b:,.0f} m³ run past the last swales, "
        f"{a:,.0f} m³ before{share}."
    )


def _freeboard(comparison: Comparison) -> str:
    short = comparison.freeboard_short
    asked = comparison.b.freeboard_asked_m
    if short.empty:
        figures = comparison.figures
        rows = figures[(figures["scope"] == "plan") & (figures["item"] == "freeboard_m")]
        if math.isnan(asked) or rows["b"].isna().all():
            return ""
        return f"Every swale of B has the freeboard asked for, {asked:g} m."
    count = len(short)
    before = int(short["before"].sum())
    return (
        f"{count} {_verb(count, 'swale', 'swales')} of B {_verb(count, 'has', 'have')} less "
        f"freeboard than the {asked:g} m asked for ({before} of them in A too): "
        f"{names(list(short.index))}."
    )


def _ways(comparison: Comparison) -> str:
    words = comparison.words[comparison.words["scope"] == "swale"]
    words = words[words["a"].fillna("") != words["b"].fillna("")]
    to = words[words["item"] == "overflow_to"]["id"].to_list()
    storm = words[words["item"] == "governing_storm_id"]["id"].to_list()
    built = words[(words["item"] == "state") & (words["b"] == "built")]["id"].to_list()
    text = []
    if built:
        verb = _verb(len(built), "swale is", "swales are")
        text.append(f"{len(built)} {verb} built by now: {names(built)}.")
    if to:
        verb = _verb(len(to), "swale spills", "swales spill")
        text.append(f"{len(to)} {verb} to other places: {names(to)}.")
    if storm:
        verb = _verb(len(storm), "swale is", "swales are")
        text.append(f"{len(storm)} {verb} governed by another storm: {names(storm)}.")
    return " ".join(text)


def _findings(comparison: Comparison) -> str:
    counts = comparison.finding_counts
    text = []
    for severity in ("stop", "caution", "note"):
        rows = counts[counts["severity"] == severity]
        a, b, new, gone = (int(rows[n].sum()) for n in ("a", "b", "appeared", "vanished"))
        if new or gone:
            text.append(f"at {severity}, {a} before and {b} now ({new} appeared, {gone} vanished)")
    return f"Findings {'; '.join(text)}." if text else ""


def _causes(comparison: Comparison) -> str:
    keys = set(comparison.record["key"])
    a, b = comparison.a, comparison.b
    text = []
    if "input:rain" in keys:
        other = f"{a.rain_table}, now {b.rain_table}"
        same = f"{b.rain_table}, with other content"
        text.append(f"the rain table ({same if a.rain_table == b.rain_table else other})")
    text += [
        what
        for key, what in (
            ("input:dem", "the DEM"),
            ("input:boundary", "the boundary"),
            ("input:features", "the features"),
        )
        if key in keys
    ]
    settings = [key for key in comparison.record["key"] if "." in key and key not in _FILES]
    if settings:
        text.append(f"the {_verb(len(settings), 'key', 'keys')} {names(settings)}")
    if "version" in keys:
        text.append("soakline's version")
    if not text:
        return "Inputs and settings are the same."
    return f"What differs in inputs and settings: {', '.join(text)}."
