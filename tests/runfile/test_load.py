"""TOML to RunFile: every problem at once, each said so that it can be mended."""

import hashlib
from pathlib import Path

import pytest

from soakline.problems import InputRefused
from soakline.runfile.load import load_run_file, load_what_holds


def problems_of(file: Path):
    with pytest.raises(InputRefused) as info:
        load_run_file(file)
    return info.value.problems


def write(folder: Path, content: str | bytes) -> Path:
    file = folder / "run.toml"
    file.write_bytes(content.encode() if isinstance(content, str) else content)
    return file


def test_an_empty_file_lacks_exactly_the_three_required_keys(tmp_path):
    keys = [problem.key for problem in problems_of(write(tmp_path, ""))]
    assert keys == ["property.dem", "property.boundary", "rain.table"]


def test_syntax_errors_name_line_and_column(tmp_path):
    (problem,) = problems_of(write(tmp_path, '[property]\ndem = "a"\nname = 3x\n'))
    assert problem.key.startswith("line 3, column")
    assert "TOML" in problem.allowed


@pytest.mark.parametrize(
    ("content", "found"),
    [
        (b"[property]\nname = '\xff'\n", "bytes that are not UTF-8"),
        (b"a = " + b"[" * 100_000, "not readable as TOML"),
        (b"#" * 1_000_001, "over 1 MB"),
    ],
    ids=["bytes", "nested", "large"],
)
def test_what_is_no_toml_text_is_refused(tmp_path, content, found):
    (problem,) = problems_of(write(tmp_path, content))
    assert found in problem.found


def test_a_missing_file_and_a_folder_are_refused(tmp_path):
    assert problems_of(tmp_path / "none.toml")[0].found == "no such file"
    assert problems_of(tmp_path)[0].found == "a folder"


@pytest.mark.parametrize("mark", [b"\xef\xbb\xbf", b""], ids=["with-mark", "without"])
@pytest.mark.parametrize("ending", [b"\r\n", b"\n"], ids=["crlf", "lf"])
def test_byte_order_mark_and_line_endings_do_not_matter(tmp_path, mark, ending):
    lines = [b"[property]", b"dem='d'", b"boundary='b'", b"[rain]", b"table='t'"]
    content = mark + ending.join(lines)
    run = load_run_file(write(tmp_path, content))
    assert run.property.dem == "d"
    assert run.sha256 == hashlib.sha256(content).hexdigest()


@pytest.mark.parametrize(
    ("text", "key", "mend"),
    [
        ("[siting]\nmax_lenght_m = 3", "siting.max_lenght_m", "Nearest valid key: max_length_m"),
        (
            "[siting]\nmax_length_ft = 3",
            "siting.max_length_ft",
            "max_length_ft would be in feet; write max_length_m in [siting], in metres",
        ),
        (
            "[section]\ndepth_cm = 50",
            "section.depth_cm",
            "depth_cm would be in centimetres; write depth_m in [section], in metres",
        ),
        (
            "[soil]\nksat_m_d = 1",
            "soil.ksat_m_d",
            (
                "ksat_m_d would be in metres per day; "
                "write ksat_mm_h in [soil], in millimetres per hour"
            ),
        ),
        (
            "[siting.setback_m]\nwell_ft = 100",
            "siting.setback_m.well_ft",
            "well_ft would be in feet; write well in [siting.setback_m], in metres",
        ),
        (
            "[siting]\nmax_length = 3",
            "siting.max_length",
            "Write max_length_m in [siting], in metres",
        ),
        (
            "[siting]\nmature_tree_height_m = 3",
            "siting.mature_tree_height_m",
            "mature_tree_height_m belongs in [spacing]",
        ),
        ("[siting]\nwell = 3", "siting.well", "well belongs in [siting.setback_m]"),
        ("[sitting]\ngap_limit_m = 3", "sitting", "Nearest valid section: [siting]"),
        ("[setback_m]\nwell = 3", "setback_m", "It is [siting.setback_m]"),
    ],
)
def test_an_unknown_key_is_refused_and_the_one_meant_is_named(refused, text, key, mend):
    (problem,) = refused(text)
    assert (problem.key, problem.mend) == (key, mend)
    assert "unknown" in problem.found


def test_a_key_like_no_other_is_told_what_the_section_has(refused):
    (problem,) = refused("[soil]\nzzz = 1")
    assert problem.allowed == "the keys of [soil]: texture, ksat_mm_h, clogging_factor, amendment"


def test_a_key_outside_any_section_is_told_its_section(tmp_path):
    problems = problems_of(write(tmp_path, 'dem = "x"\n'))
    assert any(p.key == "dem" and p.mend == "dem belongs in [property]" for p in problems)


def test_a_section_that_is_no_table_is_refused(tmp_path):
    problems = problems_of(write(tmp_path, "siting = 3\nrain = []\n"))
    keys = [problem.key for problem in problems]
    assert sorted(keys) == ["property.boundary", "property.dem", "rain", "siting"]


def test_problems_of_all_sections_come_at_once_those_between_keys_too(refused):
    problems = refused(
        "[siting]\nmax_slope_pct = 40\nmin_length_m = 500\n[soil]\ntexture = 3\nfoo = 1\n",
        rain='design = "10"\ndesign_years = 10\nuplift_pct = "5"',
    )
    assert sorted(problem.key for problem in problems) == [
        "rain.design, rain.design_years",
        "rain.uplift_pct",
        "siting.max_slope_pct",
        "siting.min_length_m, siting.max_length_m",
        "soil.foo",
        "soil.texture",
    ]


def test_a_refused_key_makes_no_second_problem_between_keys(refused):
    (problem,) = refused('[land]\ncover = "pasture-fair"\nhydrologic_group = "E"')
    assert problem.key == "land.hydrologic_group"


def test_a_problem_repeats_the_value_as_it_was_written(refused):
    (problem,) = refused('[soil]\ntexture = "Sandy Lom"')
    assert problem.found == '"Sandy Lom"'


@pytest.mark.parametrize(
    ("text", "keys"),
    [
        ('[climate]\ndaily = "d.csv"\nmonthly = "m.csv"', "climate.daily, climate.monthly"),
        (
            "[climate]\nroot_depth_m = 0.4",
            "climate.root_depth_young_m, climate.root_depth_m",
        ),
    ],
)
def test_keys_on_weather_that_do_not_go_together_are_refused(refused, text, keys):
    (problem,) = refused(text)
    assert problem.key == keys


def test_a_benchmark_is_whole_or_not_given(tmp_path):
    text = "[property]\ndem='d'\nboundary='b'\nbenchmark = {}\n[rain]\ntable='t'\n"
    half, whole = ("{easting = 1.0}", "{easting = 1.0, northing = 2.0, level_m = 3.5}")
    (problem,) = problems_of(write(tmp_path, text.replace("{}", half)))
    assert problem.key == "property.benchmark"
    assert "easting, northing and level_m" in problem.allowed
    run = load_run_file(write(tmp_path, text.replace("{}", whole)))
    assert run.property.benchmark["level_m"] == 3.5


def test_a_value_that_no_version_takes_is_refused_for_its_own_sake(refused):
    (problem,) = refused("[earthworks]\nmachine = 3")
    assert "not available" not in problem.allowed


def test_paths_start_at_the_run_files_folder(load, tmp_path):
    run = load()
    assert run.folder == tmp_path
    assert run.resolve("a/b.tif") == tmp_path / "a" / "b.tif"
    assert run.resolve("/a/b.tif") == Path("/a/b.tif")


def test_globs_of_tiles_are_expanded_in_order_and_once(tmp_path):
    for name in ("t2.tif", "t1.tif", "odd[1].tif"):
        (tmp_path / name).touch()
    text = "[property]\ndem = {}\nboundary = 'b'\n[rain]\ntable = 't'\n"
    run = load_run_file(write(tmp_path, text.format('["t*.tif", "t1.tif", "odd[1].tif", "no*"]')))
    names = [path.name for path in run.dem_files()]
    assert names == ["t1.tif", "t2.tif", "odd[1].tif", "no*"]


def test_every_file_that_is_read_is_listed_with_its_key(load):
    names = {key: path.name for key, path in load().input_files()}
    assert names == {
        "property.dem": "dem.tif",
        "property.boundary": "boundary.gpkg",
        "rain.table": "rain.csv",
    }


def test_what_holds_is_handed_on_unless_it_tells_how_files_are_read(tmp_path):
    base = "[property]\ndem='d'\nboundary='b'\n[rain]\ntable='t'\n"
    run, problems = load_what_holds(write(tmp_path, base + "[siting]\nmax_slope_pct = 50"))
    assert run is not None
    assert [problem.key for problem in problems] == ["siting.max_slope_pct"]
    run, problems = load_what_holds(write(tmp_path, base + "design = 7"))
    assert run is None
    assert [problem.key for problem in problems] == ["rain.design"]
