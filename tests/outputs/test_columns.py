"""The list of layers against the contract, and the frames that are built from it."""

import numpy as np
import pandas as pd
import pytest
import shapely

from soakline.outputs.columns import LAYERS, SCHEMAS, LayerSchema, frame

CRS = "EPSG:32755"

# Typed from the contract, so that a column cannot be lost or renamed unnoticed.
CONTRACT = {
    "property": ("MultiPolygon", "name area_m2"),
    # With what the works come to, which the contract asks for without naming columns.
    "swales": (
        "LineStringZ",
        (
            "swale_id level_m length_m base_width_m depth_m batter top_width_m face_height_m "
            "mound_height_m mound_top_level_m mound_crest_m berm_m capacity_m3 "
            "catchment_m2 "
            "spacing_above_m interval_above_m spacing_tree_m spacing_ratio_m spacing_runoff_m "
            "spacing_rule "
            "ground_rms_m ground_min_m ground_max_m slope_pct governing_storm_id design_inflow_m3 "
            "design_overflow_m3 design_peak_m3s freeboard_m drain_down_h cut_m3 fill_m3 role "
            "build_order phase machine_h cost"
        ),
    ),
    "swale_ground": ("Polygon", "swale_id part area_m2"),
    "swale_catchments": ("MultiPolygon", "swale_id area_m2 ponded_m2 runoff_mm runoff_m3"),
    "spillways": (
        "PointZ",
        (
            "spillway_id swale_id sill_level_m sill_length_m check_head_m peak_m3s sill_width_m "
            "apron_length_m apron_m2 lining"
        ),
    ),
    "overflow_routes": (
        "LineStringZ",
        (
            "route_id swale_id spillway_id to_kind to_id length_m drop_m max_slope_pct peak_m3s "
            "velocity_ms permissible_ms lining"
        ),
    ),
    "safe_points": ("Point", "safe_id name kind source"),
    "drainage_lines": ("LineString", "line_id order_strahler contributing_m2"),
    "slope_classes": ("MultiPolygon", "class lower_pct upper_pct area_m2"),
    "excluded_ground": ("MultiPolygon", "reason area_m2"),
    "hollows": ("Polygon", "hollow_id depth_m volume_m3 treatment"),
    "pegs": (
        "PointZ",
        ("peg_id swale_id kind chainage_m ground_m level_m base_level_m cut_m mound_top_level_m"),
    ),
    "trees": ("Point", "swale_id band species group year crown_m height_m"),
    # What the issue on planting asks for: what is seen from below, for each pair of neighbours.
    "tree_projection": (
        "LineStringZ",
        ("swale_id below_id distance_m drop_m height_needed_m tree_height_m seen_m hidden_m"),
    ),
    # With its own section, which the contract asks for without naming columns.
    "diversions": (
        "LineStringZ",
        (
            "diversion_id swale_id name source grade_pct length_m catchment_m2 peak_m3s "
            "base_width_m depth_m batter velocity_ms"
        ),
    ),
    "crossings": (
        "Point",
        (
            "crossing_id swale_id other_swale_id track kind chainage_m start_m end_m "
            "bearing_deg angle_deg slope_pct width_m level_m base_level_m run_m cut_m3 fill_m3 "
            "refill_m3 pipes pipe_diameter_m pipe_length_m pipe_flow_m3s"
        ),
    ),
    # What the contract asks for as options without naming a layer.
    "swale_points": (
        "Point",
        (
            "point_id swale_id kind source texture chainage_m length_m width_m depth_m "
            "floor_level_m area_m2 storage_m3 cut_m3 organic_m3 seep_h face_height_m"
        ),
    ),
    "swale_point_ground": ("MultiPolygon", "point_id swale_id kind area_m2"),
    "storms": (None, "storm_id frequency aep_pct duration_min depth_mm pattern purpose"),
    "swale_storms": (
        None,
        (
            "swale_id storm_id runoff_m3 received_m3 inflow_m3 stored_m3 infiltrated_m3 "
            "overflow_m3 peak_spill_m3s max_level_m freeboard_m drain_down_h"
        ),
    ),
    # The hydrographs that the issue on handing over asks for.
    "storm_courses": (None, "swale_id storm_id after_min inflow_m3s spill_m3s level_m"),
    # What is dug beside each peg, in whole millimetres.
    "peg_cuts": (None, "dig_below_mm daylight_mm daylight_above_mm rise_permille fall_permille"),
    # The balance that the contract's quantities come from.
    "earthworks": (
        None,
        (
            "swale_id cut_m3 cut_between_m3 cut_below_m3 cut_track_m3 cut_sill_m3 spoil_m3 "
            "short_m3 made_up_m3 mound_m3 returns_m3 track_fill_m3 spread_m3 left_over_m3 "
            "topsoil_m3 topsoil_from_m2 topsoil_over_m2 topsoil_back_m"
        ),
    ),
    "tree_growth": (None, "species age crown_m"),
    "water_years": (
        None,
        (
            "swale_id year rain_mm et0_mm runoff_m3 received_m3 soaked_m3 evaporated_m3 spilled_m3 "
            "held_m3 rooted_m2 rain_in_bands_m3 tree_use_m3 cover_use_m3 drained_m3 stored_m3 "
            "wet_days longest_wet_h dry_days stress_days silt_pct desilted runoff_without_m3 "
            "tree_use_without_m3 cover_use_without_m3 drained_without_m3 dry_days_without "
            "stress_days_without between_rooted_m2 between_rain_m3 between_tree_use_m3 "
            "between_cover_use_m3 between_drained_m3 between_stored_m3 between_stress_days"
        ),
    ),
    "calendar": (None, "year month task where amount unit advice"),
    "quantities": (None, "item unit amount rate cost"),
    "findings": (None, "code severity layer feature_id message advice"),
    "run_record": (None, "key value"),
}

ADDED = (
    "landform", "soil_texture", "soaking_mm_h", "state", "lip_low_m", "first_spill_m",
    "capacity_lost_m3", "shade_year_5_pct", "shade_year_10_pct", "shade_grown_pct",
    "crowns_close_year", "wind_met_pct", "sheltered_pct",
)  # fmt: skip

# The end of a name and the unit that it stands for; the longest ending counts.
UNITS = {
    "_m3s": "m³/s",
    "_ms": "m/s",
    "_m3": "m³",
    "_m2": "m²",
    "_mm": "mm",
    "_mm_h": "mm/h",
    "_m": "m",
    "_pct": "%",
    "_deg": "°",
    "_h": "h",
    "_min": "min",
    "_permille": "‰",
}

every_layer = pytest.mark.parametrize("schema", LAYERS, ids=lambda schema: schema.name)


def empty(schema: LayerSchema) -> pd.DataFrame:
    return frame(schema, []) if schema.geometry is None else frame(schema, [], [], CRS)


def test_layers_are_those_of_the_contract_in_its_order() -> None:
    assert [schema.name for schema in LAYERS] == list(CONTRACT)


@every_layer
def test_a_layer_has_the_contracts_geometry_and_columns(schema: LayerSchema) -> None:
    geometry, columns = CONTRACT[schema.name]
    assert schema.geometry == geometry
    assert [name for name in schema.column_names if name not in ADDED] == columns.split()


@pytest.mark.parametrize("name", ADDED)
def test_only_swales_carry_what_is_added_to_the_contract(name: str) -> None:
    assert [s.name for s in LAYERS if name in s.column_names] == ["swales"]


@every_layer
def test_titles_and_descriptions_are_filled_and_titles_unique(schema: LayerSchema) -> None:
    titles = [column.title for column in schema.columns]
    assert len(set(titles)) == len(titles)
    for part in (schema, *schema.columns):
        assert part.title.strip() == part.title != ""
        assert part.description.endswith(".")


@every_layer
def test_a_columns_unit_is_the_one_its_name_ends_in(schema: LayerSchema) -> None:
    for column in schema.columns:
        endings = [end for end in UNITS if column.kind != "text" and column.name.endswith(end)]
        assert column.unit == (UNITS[max(endings, key=len)] if endings else ""), column.name


@every_layer
def test_an_empty_layer_is_schema_true(schema: LayerSchema) -> None:
    layer = empty(schema)
    shape = [] if schema.geometry is None else ["geom"]
    assert list(layer.columns) == [*schema.column_names, *shape]
    kinds = {"text": "string", "integer": "Int64", "real": "float64", "boolean": "boolean"}
    assert [str(layer[c.name].dtype) for c in schema.columns] == [
        kinds[c.kind] for c in schema.columns
    ]


def test_rows_and_columns_build_the_same_layer() -> None:
    schema = SCHEMAS["hollows"]
    square = [shapely.box(0, 0, 20, 20), shapely.box(40, 0, 60, 20)]
    columns = {
        "treatment": ["kept", None],
        "hollow_id": np.array(["h1", "h2"]),
        "volume_m3": np.array([120, 30]),
        "depth_m": [0.7, np.nan],
    }
    rows = [
        dict(zip(columns, values, strict=True)) for values in zip(*columns.values(), strict=True)
    ]
    by_columns, by_rows = (frame(schema, given, square, CRS) for given in (columns, rows))
    pd.testing.assert_frame_equal(by_columns, by_rows)
    assert by_columns["depth_m"].isna().tolist() == [False, True]
    assert by_columns.crs == CRS


def test_missing_and_unknown_columns_are_refused() -> None:
    with pytest.raises(ValueError, match=r"run_record.*missing \['value'\]"):
        frame(SCHEMAS["run_record"], [{"key": "version"}])
    with pytest.raises(ValueError, match=r"unknown \['note'\]"):
        frame(SCHEMAS["run_record"], {"key": ["a"], "value": ["b"], "note": ["c"]})


@pytest.mark.parametrize(
    ("column", "values"),
    [
        ("class", [1.5]),
        ("class", ["steep"]),
        ("lower_pct", ["2"]),
        ("lower_pct", [np.inf]),
        ("area_m2", [True, False]),
    ],
)
def test_values_of_the_wrong_kind_are_refused(column: str, values: list[object]) -> None:
    columns: dict[str, list[object]] = {
        name: [None] * len(values) for name in SCHEMAS["slope_classes"].column_names
    }
    columns[column] = values
    squares = [shapely.box(0, 0, 1, 1)] * len(values)
    with pytest.raises(ValueError, match=column):
        frame(SCHEMAS["slope_classes"], columns, squares, CRS)


def test_a_value_outside_the_list_is_refused() -> None:
    finding = dict.fromkeys(SCHEMAS["findings"].column_names, "x")
    with pytest.raises(ValueError, match=r"findings\.severity.*caution"):
        frame(SCHEMAS["findings"], [finding])


def test_single_polygons_are_promoted_where_the_layer_holds_many() -> None:
    land = frame(SCHEMAS["property"], [{"name": "x", "area_m2": 1}], [shapely.box(0, 0, 1, 1)], CRS)
    assert land.geometry.geom_type.tolist() == ["MultiPolygon"]


@pytest.mark.parametrize(
    "shape",
    [
        shapely.Point(0, 0),
        shapely.Point(0, 0, 1),
        shapely.LineString([(0, 0, 1), (1, 0, 1)]),
        shapely.LineString(),
        None,
    ],
    ids=str,
)
def test_a_geometry_of_another_type_or_dimension_is_refused(shape: object) -> None:
    row = {"line_id": "d1", "order_strahler": 1, "contributing_m2": 2e4}
    with pytest.raises(ValueError, match="drainage_lines"):
        frame(SCHEMAS["drainage_lines"], [row], [shape], CRS)


def test_geometry_belongs_to_layers_and_only_there() -> None:
    with pytest.raises(ValueError, match="is a table"):
        frame(SCHEMAS["run_record"], [], [], CRS)
    with pytest.raises(ValueError, match="needs a geometry"):
        frame(SCHEMAS["hollows"], [])
    with pytest.raises(ValueError, match="0 geometries for 1 rows"):
        frame(SCHEMAS["property"], [{"name": "x", "area_m2": 1}], [], CRS)
