"""Findings that appeared or vanished between two plans."""

from collections.abc import Mapping

import pandas as pd

from soakline.compare.matching import Pairs


def findings_changed(
    a: pd.DataFrame, b: pd.DataFrame, pairs: Mapping[str, Pairs]
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Findings that only one plan has, or that weigh otherwise in the other; counts by code."""
    ours, theirs = (table.fillna("").astype(str) for table in (a, b))
    as_in_a = [
        pairs[layer].names.get(name, name) if layer in pairs else name
        for layer, name in zip(theirs["layer"], theirs["feature_id"], strict=True)
    ]
    theirs["feature_id"] = pd.Series(as_in_a, theirs.index, dtype=ours["feature_id"].dtype)
    key = ["code", "layer", "feature_id"]
    for table in (ours, theirs):  # the same thing may be found twice on one feature
        table["nth"] = table.groupby(key).cumcount()
    both = ours.merge(theirs, how="outer", on=[*key, "nth"], suffixes=("_a", "_b"))
    both = both.rename(columns={"severity_a": "a", "severity_b": "b"})
    changed = both[both["a"].ne(both["b"])]
    counts = pd.concat(
        {
            "a": both.groupby(["code", "a"]).size(),
            "b": both.groupby(["code", "b"]).size(),
            "appeared": changed.groupby(["code", "b"]).size(),
            "vanished": changed.groupby(["code", "a"]).size(),
        },
        axis=1,
    )
    counts = counts.rename_axis(["code", "severity"]).fillna(0).astype(int).sort_index()
    columns = [*key, "a", "b"]
    texts = changed[columns].astype(object)
    return texts.where(texts.notna(), None).reset_index(drop=True), counts.reset_index()
