"""Reads of a finished plan what the report tells; the file is opened for reading only."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from soakline.plan_file import (
    file_and_digest,
    layer_names,
    read_tables,
    refuse_other_versions,
)
from soakline.problems import InputRefused

COLUMNS: Mapping[str, tuple[str, ...]] = {
    "property": ("name", "area_m2"),
    "swales": (
        "swale_id", "state", "level_m", "length_m", "base_width_m", "depth_m", "batter",
        "soil_texture", "soaking_mm_h", "top_width_m", "face_height_m", "mound_height_m",
        "mound_top_level_m", "mound_crest_m", "berm_m", "capacity_m3", "catchment_m2", "slope_pct",
        "governing_storm_id", "design_inflow_m3", "design_overflow_m3", "design_peak_m3s",
        "freeboard_m", "drain_down_h", "cut_m3", "fill_m3", "build_order", "phase", "machine_h",
        "cost",
    ),
    "spillways": (
        "spillway_id", "swale_id", "sill_level_m", "sill_length_m", "check_head_m", "peak_m3s",
        "sill_width_m", "apron_length_m", "lining",
    ),
    "overflow_routes": (
        "route_id", "swale_id", "spillway_id", "to_kind", "to_id", "length_m", "drop_m",
        "max_slope_pct", "peak_m3s", "velocity_ms", "permissible_ms", "lining",
    ),
    "safe_points": ("safe_id", "name", "kind", "source"),
    "drainage_lines": ("line_id", "order_strahler"),
    "slope_classes": ("class", "lower_pct", "upper_pct", "area_m2"),
    "excluded_ground": ("reason", "area_m2"),
    "hollows": ("hollow_id", "treatment"),
    "pegs": (
        "peg_id", "swale_id", "kind", "chainage_m", "ground_m", "level_m", "base_level_m",
        "mound_top_level_m",
    ),
    "trees": ("swale_id", "species", "group", "year", "crown_m"),
    "diversions": ("diversion_id", "swale_id"),
    "crossings": ("crossing_id", "swale_id", "track", "kind"),
    "storms": (
        "storm_id", "frequency", "aep_pct", "duration_min", "depth_mm", "pattern", "purpose",
    ),
    "swale_storms": (
        "swale_id", "storm_id", "runoff_m3", "received_m3", "inflow_m3", "stored_m3",
        "infiltrated_m3", "overflow_m3", "peak_spill_m3s", "max_level_m", "freeboard_m",
        "drain_down_h",
    ),
    "quantities": ("item", "unit", "amount", "rate", "cost"),
    "findings": ("code", "severity", "layer", "feature_id", "message", "advice"),
    "run_record": ("key", "value"),
}  # fmt: skip
"""What is read, by layer or table."""

# Not in plans of versions that had none.
_SINCE: Mapping[str, tuple[str, ...]] = {
    "water_years": (
        "swale_id", "year", "rain_mm", "runoff_m3", "received_m3", "soaked_m3", "evaporated_m3",
        "spilled_m3", "wet_days", "longest_wet_h", "stress_days", "silt_pct", "tree_use_m3",
        "drained_m3", "tree_use_without_m3", "drained_without_m3", "stress_days_without",
        "between_rooted_m2", "between_rain_m3", "between_tree_use_m3", "between_cover_use_m3",
        "between_drained_m3", "between_stored_m3", "between_stress_days",
    ),
    "calendar": ("year", "month", "task", "where", "amount", "unit", "advice"),
    "storm_courses": ("swale_id", "storm_id", "after_min", "inflow_m3s", "spill_m3s"),
}  # fmt: skip
_TABLES = frozenset({"storms", "swale_storms", "quantities", "findings", "run_record", *_SINCE})


@dataclass(frozen=True, eq=False, slots=True)
class ReadPlan:
    """A plan as read.

    Parameters
    ----------
    path : of the GeoPackage
    layers : frames by name, of `COLUMNS`; years, calendar and courses are empty where the plan
        has none
    record : value by key of the run record; of a key that stands there twice, the last
    inputs : role, file as named in the run file and SHA-256 of each input
    """

    path: Path
    layers: Mapping[str, pd.DataFrame]
    record: Mapping[str, str]
    inputs: tuple[tuple[str, str, str], ...]

    @property
    def name(self) -> str:
        """The property's name; the file's, where it has none."""
        names = self.layers["property"]["name"].dropna()
        return (str(names.iloc[0]) if len(names) else "") or self.path.stem


def read_plan(path: Path) -> ReadPlan:
    """Read a plan for the report.

    Raises
    ------
    InputRefused
        If it is not a plan, is still being written, is of another version, or lacks layers or
        columns; all that are missing are named.
    """
    refuse_other_versions(path)
    present = layer_names(path)
    wanted = dict(COLUMNS) | {name: own for name, own in _SINCE.items() if name in present}
    layers, problems = read_tables(path, wanted, lambda name: name not in _TABLES)
    if problems:
        raise InputRefused(problems)
    for name, own in _SINCE.items():
        layers.setdefault(name, pd.DataFrame(columns=list(own)))
    table = layers["run_record"]
    keys, values = (table[name].fillna("").astype(str) for name in ("key", "value"))
    return ReadPlan(
        path, layers, dict(zip(keys, values, strict=True)), _inputs(list(keys), list(values))
    )


def _inputs(keys: list[str], values: list[str]) -> tuple[tuple[str, str, str], ...]:
    return tuple(
        (key.removeprefix("input:"), *file_and_digest(value))
        for key, value in zip(keys, values, strict=True)
        if key.startswith("input:")
    )
