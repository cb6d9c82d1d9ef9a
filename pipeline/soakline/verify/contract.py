"""Layers and columns that every plan has: the contract, not the program, written down."""

from collections.abc import Mapping

# Geometry by layer: type, and whether it has heights.
GEOMETRY: Mapping[str, tuple[str, int]] = {
    "property": ("MULTIPOLYGON", 0),
    "swales": ("LINESTRING", 1),
    "swale_ground": ("POLYGON", 0),
    "swale_catchments": ("MULTIPOLYGON", 0),
    "spillways": ("POINT", 1),
    "overflow_routes": ("LINESTRING", 1),
    "safe_points": ("POINT", 0),
    "drainage_lines": ("LINESTRING", 0),
    "slope_classes": ("MULTIPOLYGON", 0),
    "excluded_ground": ("MULTIPOLYGON", 0),
    "hollows": ("POLYGON", 0),
    "pegs": ("POINT", 1),
    "trees": ("POINT", 0),
    "diversions": ("LINESTRING", 1),
    "crossings": ("POINT", 0),
}

COLUMNS: Mapping[str, tuple[str, ...]] = {
    name: tuple(columns.split())
    for name, columns in {
        "property": "name area_m2",
        "swales": "swale_id level_m length_m base_width_m depth_m batter top_width_m face_height_m "
        "mound_height_m mound_top_level_m capacity_m3 catchment_m2 spacing_above_m "
        "interval_above_m spacing_tree_m spacing_ratio_m spacing_runoff_m spacing_rule "
        "ground_rms_m ground_min_m ground_max_m slope_pct governing_storm_id design_inflow_m3 "
        "design_overflow_m3 design_peak_m3s freeboard_m drain_down_h cut_m3 fill_m3 role "
        "build_order",
        "swale_ground": "swale_id part area_m2",
        "swale_catchments": "swale_id area_m2 ponded_m2 runoff_mm runoff_m3",
        "spillways": "spillway_id swale_id sill_level_m sill_length_m check_head_m peak_m3s",
        "overflow_routes": "route_id swale_id spillway_id to_kind to_id length_m drop_m "
        "max_slope_pct peak_m3s velocity_ms permissible_ms lining",
        "safe_points": "safe_id name kind source",
        "drainage_lines": "line_id order_strahler contributing_m2",
        "slope_classes": "class lower_pct upper_pct area_m2",
        "excluded_ground": "reason area_m2",
        "hollows": "hollow_id depth_m volume_m3 treatment",
        "pegs": "peg_id swale_id kind chainage_m ground_m level_m base_level_m cut_m "
        "mound_top_level_m",
        "trees": "swale_id band species year crown_m",
        "diversions": "diversion_id swale_id source grade_pct catchment_m2 peak_m3s",
        "crossings": "crossing_id swale_id track kind",
        "storms": "storm_id frequency aep_pct duration_min depth_mm pattern purpose",
        "swale_storms": "swale_id storm_id runoff_m3 received_m3 inflow_m3 stored_m3 "
        "infiltrated_m3 overflow_m3 peak_spill_m3s max_level_m freeboard_m drain_down_h",
        "quantities": "item unit amount rate cost",
        "findings": "code severity layer feature_id message advice",
        "run_record": "key value",
    }.items()
}

IDS: Mapping[str, str] = {
    "swales": "swale_id",
    "swale_catchments": "swale_id",
    "spillways": "spillway_id",
    "overflow_routes": "route_id",
    "safe_points": "safe_id",
    "drainage_lines": "line_id",
    "hollows": "hollow_id",
    "pegs": "peg_id",
    "diversions": "diversion_id",
    "crossings": "crossing_id",
    "storms": "storm_id",
}

# Tables beyond the contract that a measure makes use of.
MORE = frozenset({"peg_cuts", "swale_points"})
