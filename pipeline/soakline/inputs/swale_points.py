"""Points chosen along swales: each of a known kind, its size within what that kind may have."""

from difflib import get_close_matches

import numpy as np
import pandas as pd

from soakline.problems import InputProblem, ProblemCollector
from soakline.runfile.swale_point_section import POINT_KINDS, POINT_RANGES

LAYER = "swale_points"
_SIZES = ("length_m", "width_m", "depth_m")
_KINDS = "one of " + ", ".join(f'"{kind}"' for kind in POINT_KINDS)


def checked_points(table: pd.DataFrame, layer: str, file: str, key: str) -> pd.DataFrame:
    """Bring the kinds of chosen points to one spelling.

    Parameters
    ----------
    table : the layer's columns by feature id, as `read_columns` gives them
    layer : `swale_points`; any other passes as it is
    file, key : what problems name

    Returns
    -------
    the same rows; sizes that tell nothing for a kind (the depth of a basin) stand as they are

    Raises
    ------
    InputRefused
        With every row of no kind or an unknown one, and every size out of range.
    """
    if layer != LAYER:
        return table
    collector = ProblemCollector()
    kinds = table["kind"].map(_spelt)
    for row, given, kind, *sizes in zip(
        table.index, table["kind"], kinds, *(table[name] for name in _SIZES), strict=True
    ):
        where = f"{key}, feature {row}"
        if kind not in POINT_KINDS:
            found = "no value" if kind is None else f'"{given}"'
            near = get_close_matches(str(kind), POINT_KINDS, n=1, cutoff=0.6)
            mend = f"Nearest valid: {near[0]}" if near else ""
            collector.add(InputProblem(file, f"{where}, kind", found, _KINDS, mend))
            continue
        for column, value in zip(_SIZES, sizes, strict=True):
            limits = POINT_RANGES[kind].get(column)
            if limits and not np.isnan(value) and not limits.low <= value <= limits.high:
                found = f'{value:g} m where kind is "{kind}"'
                allowed = f"{limits.allowed()}, or empty"
                collector.add(InputProblem(file, f"{where}, {column}", found, allowed))
    collector.raise_if_any()
    return table.assign(kind=kinds.astype(object))


def _spelt(kind: str | None) -> str | None:
    return kind.lower().replace(" ", "_").replace("-", "_") if isinstance(kind, str) else None
