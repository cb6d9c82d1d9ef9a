"""The figures that two plans are compared by, with their units and how far they are printed."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Total = Literal["sum", "least", "greatest", "none"]

_DECIMALS: Mapping[str, int] = {"number": 0, "m²": 0, "m³": 1, "m": 2, "m³/s": 3, "h": 1}


@dataclass(frozen=True, slots=True)
class Item:
    """One figure.

    Parameters
    ----------
    name : as in JSON and CSV; the plan's own column where it has one
    title : heading in the terminal's tables
    unit : as printed
    total : how it is told for the whole plan
    counts_again : the sum counts water anew in each swale that it is handed on to
    """

    name: str
    title: str
    unit: str
    total: Total = "none"
    counts_again: bool = False

    @property
    def total_title(self) -> str:
        if self.total == "sum":
            return f"{self.title}, swale by swale" if self.counts_again else self.title
        return self.title if self.total == "none" else f"{self.title}, {self.total}"


def decimals(unit: str) -> int:
    """Places behind the point that a figure is printed with; 2 for a unit that is not known."""
    return _DECIMALS.get(unit, 2)


SWALE_ITEMS = (
    Item("level_m", "level", "m"),
    Item("length_m", "length", "m", "sum"),
    Item("base_width_m", "base width", "m"),
    Item("depth_m", "depth", "m"),
    Item("capacity_m3", "capacity", "m³", "sum"),
    Item("catchment_m2", "catchment", "m²", "sum"),
    Item("design_inflow_m3", "inflow", "m³", "sum", counts_again=True),
    Item("design_overflow_m3", "spill", "m³", "sum", counts_again=True),
    Item("design_peak_m3s", "peak spill", "m³/s", "greatest"),
    Item("spillways", "sills", "number", "sum"),
    Item("sill_length_m", "sill length", "m", "sum"),
    Item("check_peak_m3s", "check peak", "m³/s", "greatest"),
    Item("freeboard_m", "freeboard", "m", "least"),
    Item("drain_down_h", "drain-down", "h", "greatest"),
    Item("cut_m3", "cut", "m³", "sum"),
    Item("fill_m3", "fill", "m³", "sum"),
)
"""By swale. `spillways`, `sill_length_m` and `check_peak_m3s` are sums over its spillways; the rest
are columns of `swales`."""

SPILLWAY_ITEMS = (
    Item("easting_m", "easting", "m"),
    Item("northing_m", "northing", "m"),
    Item("sill_length_m", "sill length", "m"),
    Item("check_head_m", "check head", "m"),
    Item("peak_m3s", "check peak", "m³/s"),
)
"""By spillway; places are in A's CRS."""

PLAN_ITEMS = (
    Item("swales", "swales", "number"),
    *(item for item in SWALE_ITEMS if item.total != "none"),
    Item("leaving_m3", "spill past the last swales", "m³"),
    Item("spilling_swales", "swales that spill", "number"),
    Item("stop_findings", "findings at stop", "number"),
    Item("caution_findings", "findings at caution", "number"),
    Item("note_findings", "findings at note", "number"),
)
"""For the whole plan. `leaving_m3` is what swales spill less what swales receive of it, in the
design storm where that is most: water handed down a chain does not count twice in it, as it does
in the sums of inflow and spill."""
