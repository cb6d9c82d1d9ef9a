"""What a comparison of two plans holds."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from soakline.compare.matching import NEAR_M, Pairs

_SHORT_BY_M = 0.0005
"""Less than a millimetre is the last bits of a sum of levels, not missing freeboard."""


@dataclass(frozen=True, slots=True)
class Side:
    """What a comparison says of each plan.

    Parameters
    ----------
    path : the GeoPackage
    name : of the property; may be empty
    rain_table, rain_sha256 : file name and checksum; empty where the plan's record lacks them
    freeboard_asked_m : of the run file; NaN where the record lacks it
    """

    path: Path
    name: str
    rain_table: str
    rain_sha256: str
    freeboard_asked_m: float


@dataclass(frozen=True, eq=False, slots=True)
class Comparison:
    """What changed from plan A to plan B.

    Parameters
    ----------
    a, b : Side
    overlap_pct : land that both plans share, of all that either covers
    pairs : by layer (`swales`, `spillways`, `overflow_routes`, `safe_points`), what both hold
    figures : scope, id, item, unit, a, b, change, change_pct; every figure, changed or not. A null
        in a or b is a figure that is null in its plan, or of a feature that is not in it
    words : scope, id, item, a, b; every text, changed or not
    findings : code, layer, feature_id, a, b; severity in each plan, null where it has no such
        finding; only what appeared, vanished or is more or less severe
    finding_counts : code, severity, a, b, appeared, vanished
    record : key, a, b of the run record, where they differ; null where a plan lacks the key
    """

    a: Side
    b: Side
    overlap_pct: float
    pairs: Mapping[str, Pairs]
    figures: pd.DataFrame
    words: pd.DataFrame
    findings: pd.DataFrame
    finding_counts: pd.DataFrame
    record: pd.DataFrame

    def of_swales(self, item: str) -> pd.DataFrame:
        """One figure of each swale that both plans hold: columns a and b by swale_id."""
        rows = self.figures[(self.figures["scope"] == "swale") & (self.figures["item"] == item)]
        return rows.set_index("id")[["a", "b"]]

    @property
    def now_spilling(self) -> tuple[str, ...]:
        """Swales that hold the design storm in A and spill in it in B."""
        spill = self.of_swales("design_overflow_m3")
        return tuple(spill.index[(spill["a"] == 0) & (spill["b"] > 0)])

    @property
    def now_holding(self) -> tuple[str, ...]:
        """Swales that spill in the design storm in A and hold it in B."""
        spill = self.of_swales("design_overflow_m3")
        return tuple(spill.index[(spill["a"] > 0) & (spill["b"] == 0)])

    @property
    def moved_spillways(self) -> tuple[str, ...]:
        """Spillways of both plans that lie over `NEAR_M` from where they lay."""
        rows = self.figures[self.figures["scope"] == "spillway"]
        east, north = (
            rows[rows["item"] == item].set_index("id")["change"]
            for item in ("easting_m", "northing_m")
        )
        return tuple(east.index[np.hypot(east, north) > NEAR_M])

    @property
    def freeboard_short(self) -> pd.DataFrame:
        """Swales of B with less freeboard than its run file asks for.

        Returns
        -------
        freeboard_m, asked_m, and before: whether that swale was short of what A asked for too; by
        swale_id
        """
        figures = self.figures
        rows = figures[
            figures["scope"].isin(["swale", "swale_appeared"]) & (figures["item"] == "freeboard_m")
        ].set_index("id")
        short = rows[rows["b"] < self.b.freeboard_asked_m - _SHORT_BY_M]
        before = short["a"] < self.a.freeboard_asked_m - _SHORT_BY_M
        return pd.DataFrame(
            {"freeboard_m": short["b"], "asked_m": self.b.freeboard_asked_m, "before": before}
        )
