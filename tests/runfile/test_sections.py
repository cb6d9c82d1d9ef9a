"""Keys, defaults and ranges of the run file."""

import pickle
import tomllib

import pytest

from soakline.runfile.keys import TEXTURES
from soakline.runfile.reading import number_of, plain_keys, sections

# The run file of the contract, as its page has it; required keys and aliases apart.
CONTRACT = tomllib.loads("""
[property]
name = ""
dem_accuracy_m = 0.15
boundary_layer = ""
crs = ""
vertical_unit = "m"
features = ""
benchmark = {}
[terrain]
smoothing_m = 5.0
hollow_depth_m = 0.3
hollow_area_m2 = 100
drainage_area_ha = 2.0
slope_class_pct = [0.2, 0.5, 1, 2, 5, 10, 15, 30, 60]
[spacing]
rule = "tree-height"
mature_tree_height_m = 8.0
width_ratio = 0
max_spacing_m = 0
[siting]
max_slope_pct = 15
steep_sign_off = ""
min_length_m = 0
max_length_m = 400
gap_limit_m = 10
min_catchment_m2 = 200
ground_tolerance_m = 0.15
min_bend_radius_m = 6
cross_tracks = true
[siting.setback_m]
boundary = 3
building = 10
building_below = 30
septic = 30
well = 30
drainage_line = 10
watercourse = 10
dam = 10
service = 3
track = 3
landslip = 30
landslip_below = 60
steep_ground_below = 60
[soil]
texture = "loam"
ksat_mm_h = 0
clogging_factor = 0.5
amendment = "none"
[land]
curve_number = 74
[section]
base_width_m = 0
depth_m = 0
batter = 0
freeboard_m = 0.15
max_drain_h = 72
passage = ""
[rain]
design = "10"
check = "100"
uplift_pct = 0
annual_mm = 800
pattern = "both"
antecedent = "II"
loss = "curve-number"
time_of_concentration = "lag"
unit_hydrograph = "curvilinear"
[overflow]
sill_head_m = 0.10
weir_coefficient = 1.45
manning_n = 0.035
cover = "grass-mixture"
soil = "erodible"
allow_property_edge = false
neighbour_consent = ""
[earthworks]
berm_m = 0.0
mound_batter = 2.0
mound_crest_m = 0.5
swell_pct = 25
settlement_pct = 10
topsoil_m = 0.1
spread_under_pct = 0
machine = "excavator-5t"
machines = ""
rates = ""
phase = ""
as_built = ""
[planting]
[climate]
daily = ""
[output]
""")
ONLY_HERE = {
    ("property", "dem"),
    ("property", "boundary"),
    ("rain", "table"),
    ("land", "cover"),
    ("land", "hydrologic_group"),
    ("land", "drain_run"),
    ("siting", "crossing"),
    ("rain", "design_years"),
    ("rain", "check_years"),
    ("output", "setout"),
    ("output", "rasters"),
    ("output", "styles"),
    ("output", "paper"),
    ("output", "finished_cell_m"),
    ("output", "calendar_year"),
    ("earthworks", "budget"),
    ("earthworks", "hours_per_year"),
    ("earthworks", "swales_per_year"),
    ("planting", "trees"),
    ("planting", "between"),
    ("planting", "species"),
    ("planting", "wind"),
    ("planting", "windbreak_every"),
    ("planting", "shelter_heights"),
    ("planting", "main_year"),
    ("planting", "clearance_m"),
    ("planting", "mulch_ring_m"),
    ("planting", "mulch_depth_m"),
    ("climate", "monthly"),
    ("climate", "seed"),
    ("climate", "years"),
    ("climate", "et0"),
    ("climate", "wind_height_m"),
    ("climate", "radiation_factor"),
    ("climate", "dormant_et0_mm"),
    ("climate", "storm_h"),
    ("climate", "start_moisture_pct"),
    ("climate", "tree_kcb"),
    ("climate", "cover_kc"),
    ("climate", "depletion_share"),
    ("climate", "root_depth_young_m"),
    ("climate", "root_depth_m"),
    ("climate", "full_effect_years"),
    ("climate", "soak_gain"),
    ("climate", "roots_reach_pct"),
    ("climate", "silt_kg_m3"),
    ("climate", "silt_t_m3"),
    ("climate", "litter_mm"),
    ("climate", "desilt_years"),
    ("swale_points", "ponds"),
    ("swale_points", "pond_length_m"),
    ("swale_points", "pond_depth_m"),
    ("swale_points", "basins"),
    ("swale_points", "basin_length_m"),
    ("swale_points", "basin_width_m"),
    ("swale_points", "organic_pit_every_m"),
    ("swale_points", "organic_pit_length_m"),
    ("swale_points", "organic_pit_width_m"),
    ("swale_points", "organic_pit_depth_m"),
    ("swale_points", "least_swale_m"),
}


def flat(tables, above=()):
    for name, value in tables.items():
        if isinstance(value, dict) and (above == () or name == "setback_m"):
            yield from flat(value, (*above, name))
        else:
            yield (*above, name), value


def at(run, path):
    for name in path:
        run = getattr(run, name)
    return run


@pytest.mark.parametrize(
    ("path", "default"), [pytest.param(*item, id=".".join(item[0])) for item in flat(CONTRACT)]
)
def test_every_default_is_the_contracts(load, path, default):
    found = at(load(), path)
    assert (list(found) if isinstance(found, tuple) else found) == default


def test_no_key_is_missing_and_none_is_made_up():
    keys = {(*path, name) for path, model in sections() for name in plain_keys(model)}
    assert keys == {path for path, _ in flat(CONTRACT)} | ONLY_HERE


def test_every_number_tells_its_range_and_every_key_its_meaning():
    for path, model in sections():
        for name, field in plain_keys(model).items():
            assert field.title, (path, name)
            if field.annotation is float:
                assert number_of(field) is not None, (path, name)
            if (number := number_of(field)) is not None:
                assert number.whole == (field.annotation is int), (path, name)


def test_a_whole_number_is_taken_where_a_fraction_is_meant(load):
    tree_height_m = load("[spacing]\nmature_tree_height_m = 12").spacing.mature_tree_height_m
    assert tree_height_m == 12.0
    assert isinstance(tree_height_m, float)


def test_defaults_are_floats_too_so_that_given_and_not_given_give_one_key(load):
    assert isinstance(load().siting.max_slope_pct, float)


@pytest.mark.parametrize("word", [" ", "-", "_"])
@pytest.mark.parametrize("texture", TEXTURES)
def test_textures_may_be_written_with_blank_hyphen_or_underscore(load, texture, word):
    written = texture.replace("-", word).title()
    assert load(f'[soil]\ntexture = "{written}"').soil.texture == texture


@pytest.mark.parametrize(
    ("text", "limit"),
    [
        ("[siting]\nmax_slope_pct = 35", "siting"),
        ("[siting]\nmax_slope_pct = 20.5", "siting"),
        ("[section]\nfreeboard_m = 0", "section"),
        ("[section]\nfreeboard_m = 2", "section"),
        ("[section]\nbatter = 0.25", "section"),
        ("[spacing]\nwidth_ratio = 3", "spacing"),
    ],
)
def test_ends_of_ranges_are_inside(load, text, limit):
    assert getattr(load(text), limit)


@pytest.mark.parametrize(
    ("text", "key", "allowed"),
    [
        ("[siting]\nmax_slope_pct = 35.1", "siting.max_slope_pct", "over 0 and at most 35 %"),
        ("[siting]\nmax_slope_pct = 0", "siting.max_slope_pct", "over 0 and at most 35 %"),
        ("[spacing]\nmature_tree_height_m = 0", "spacing.mature_tree_height_m", "over 0"),
        ("[spacing]\nwidth_ratio = 0.5", "spacing.width_ratio", "or 0 (from annual rain)"),
        ("[section]\nfreeboard_m = 2.01", "section.freeboard_m", "from 0 to 2 m"),
        ("[section]\ndepth_m = -0.5", "section.depth_m", "from 0.1 to 3 m"),
        ("[terrain]\nslope_class_pct = [5, 2]", "terrain.slope_class_pct", "rising"),
        ("[terrain]\nslope_class_pct = []", "terrain.slope_class_pct", "rising"),
        ("[terrain]\nslope_class_pct = [0, 2]", "terrain.slope_class_pct", "over 0 %"),
        ("[terrain]\nsmoothing_m = nan", "terrain.smoothing_m", "from 0 to 50 m"),
        ("[terrain]\nsmoothing_m = inf", "terrain.smoothing_m", "from 0 to 50 m"),
        ("[terrain]\nsmoothing_m = true", "terrain.smoothing_m", "a number"),
        ('[terrain]\nsmoothing_m = "5"', "terrain.smoothing_m", "a number"),
        (
            '[earthworks]\nphase = "year"\nswales_per_year = 0.5',
            "earthworks.swales_per_year",
            "a whole number from 1 to 100,000 swales",
        ),
        ("[siting]\ncross_tracks = 1", "siting.cross_tracks", "true or false"),
        ("[soil]\ntexture = 3", "soil.texture", '"loam"'),
        ('[soil]\ntexture = "silt"', "soil.texture", '"silt-loam"'),
        ("[land]\ncurve_number = 101", "land.curve_number", "from 30 to 100"),
        ('[overflow]\ncover = "moss"', "overflow.cover", '"grass-mixture"'),
    ],
)
def test_what_is_out_of_range_or_of_another_type_is_refused(refused, text, key, allowed):
    (problem,) = refused(text)
    assert problem.key == key
    assert allowed in problem.allowed


@pytest.mark.parametrize(
    ("rain", "key", "value", "allowed"),
    [
        ("uplift_pct = 201", "rain.uplift_pct", "201", "from -50 to 200 %"),
        ("uplift_pct = -51", "rain.uplift_pct", "-51", "from -50 to 200 %"),
        ('design = "ten"', "rain.design", '"ten"', "a return period in years"),
        ('design = "100%"', "rain.design", '"100%"', "an AEP in percent"),
        ("design = 10", "rain.design", "10 (a number)", "as text"),
        ('antecedent = "IV"', "rain.antecedent", '"IV"', '"III"'),
        ('pattern = "triangle"', "rain.pattern", '"triangle"', '"both", or the name of a CSV file'),
        ('pattern = ""', "rain.pattern", '""', '"both", or the name of a CSV file'),
        ("pattern = 3", "rain.pattern", "3 (a number)", '"alternating", "uniform"'),
        ('loss = "horton"', "rain.loss", '"horton"', '"green-ampt"'),
        ('time_of_concentration = "guess"', "rain.time_of_concentration", '"guess"', '"kirpich"'),
        ('unit_hydrograph = "snyder"', "rain.unit_hydrograph", '"snyder"', '"triangular"'),
    ],
)
def test_rain_keys_out_of_range_are_refused(refused, rain, key, value, allowed):
    (problem,) = refused(rain=rain)
    assert (problem.key, problem.found) == (key, value)
    assert allowed in problem.allowed


def test_years_are_another_way_to_name_the_design_and_check_storms(load):
    rain = load(rain="design_years = 20\ncheck_years = 2.5").rain
    assert (rain.design, rain.check) == ("20", "2.5")


@pytest.mark.parametrize("name", ["design", "check"])
def test_a_storm_named_twice_is_refused(refused, name):
    (problem,) = refused(rain=f'{name} = "10"\n{name}_years = 10')
    assert problem.key == f"rain.{name}, rain.{name}_years"


@pytest.mark.parametrize("pattern", ["alternating", "uniform", "both", "rain/mine.csv", "MINE.CSV"])
def test_a_pattern_is_one_of_ours_or_a_file(load, pattern):
    assert load(rain=f'pattern = "{pattern}"').rain.pattern == pattern


def test_ways_to_reckon_losses_and_arrivals_are_taken_as_written(load):
    rain = load(
        rain='loss = "green-ampt"\ntime_of_concentration = "velocity"\n'
        'unit_hydrograph = "triangular"'
    ).rain
    assert (rain.loss, rain.time_of_concentration, rain.unit_hydrograph) == (
        "green-ampt",
        "velocity",
        "triangular",
    )


def test_blanks_in_a_frequency_do_not_matter(load):
    assert load(rain='design = " 10 %"').rain.design == "10%"


def test_cover_and_group_give_the_tables_curve_number(load):
    # TR-55 table 2-2c: pasture in fair condition on group B.
    land = load('[land]\ncover = "pasture-fair"\nhydrologic_group = "B"').land
    assert land.curve_number == 69


@pytest.mark.parametrize(
    ("text", "key"),
    [
        (
            'cover = "pasture-fair"\nhydrologic_group = "B"\ncurve_number = 74',
            "land.curve_number, land.cover",
        ),
        ('cover = "pasture-fair"', "land.cover, land.hydrologic_group"),
        ('hydrologic_group = "B"', "land.cover, land.hydrologic_group"),
        ('cover = "moon"\nhydrologic_group = "B"', "land.cover"),
        ('cover = "arid-herbaceous-poor"\nhydrologic_group = "A"', "land.cover"),
    ],
)
def test_land_is_told_in_one_way_only(refused, text, key):
    (problem,) = refused(f"[land]\n{text}")
    assert problem.key == key


def test_a_shortest_swale_longer_than_the_longest_is_refused(refused):
    (problem,) = refused("[siting]\nmin_length_m = 500")
    assert problem.key == "siting.min_length_m, siting.max_length_m"


def test_a_run_file_survives_pickling_and_cannot_be_changed(load):
    run = load('[land]\ncover = "pasture-fair"\nhydrologic_group = "B"')
    again = pickle.loads(pickle.dumps(run))  # noqa: S301 - our own bytes
    assert again == run
    assert again.folder == run.folder
    with pytest.raises(ValueError, match="frozen"):
        run.siting.max_slope_pct = 20
