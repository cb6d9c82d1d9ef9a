"""Sections by soil, room for all of them, and treatments of the base where they are any use."""

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
from shapely import box

from soakline.problems import InputProblem, InputRefused
from soakline.runfile.load import load_run_file
from soakline.runfile.sections import RunFile
from soakline.section.amendments import amendments
from soakline.section.cuts import cuts_of
from soakline.section.design import SectionDesign, section_design
from soakline.section.reach import footprint_reach
from soakline.section.soils import soil_for, soils, textures_on
from soakline.section.trench import daylight_m, trenches_of
from soakline.section.works import LEAST_MOUNDED_SHARE
from tests.section.lips import uphill_m
from tests.terrain_analytic.run_folder import merged, toml_text

AIM_M = 0.015


@pytest.fixture
def run_of(tmp_path: Path):
    def of(**settings: Any) -> RunFile:
        needed = {
            "property": {"dem": "dem.tif", "boundary": "boundary.gpkg"},
            "rain": {"table": "rain.csv"},
        }
        file = tmp_path / "run.toml"
        file.write_text(toml_text(merged(needed, settings)), encoding="utf-8")
        return load_run_file(file)

    return of


def refused(run: RunFile, *textures: str) -> InputProblem:
    with pytest.raises(InputRefused) as caught:
        section_design(run, textures)
    (problem,) = caught.value.problems
    return problem


def cut_reach_m(design: SectionDesign, texture: str, slope: float) -> float:
    own = design.on(texture).largest
    return float(daylight_m(own, np.array([AIM_M]), np.array([slope]))[0])


def test_each_soil_has_its_own_batter_and_its_own_sections(run_of) -> None:
    """Batters: config/soils.csv, by Chow 1959 Table 7-1 (from memory)."""
    design = section_design(run_of(), ("sand", "clay"))
    assert [own.texture for own in design.soils] == ["loam", "sand", "clay"]
    assert design.soil.texture == "loam"
    for texture, batter in (("loam", 1.5), ("sand", 2.0), ("clay", 1.0)):
        assert {own.batter for own in design.on(texture).sections} == {batter}
        assert design.on(texture).ksat_mm_h == soil_for(texture).ksat_mm_h
    assert design.on("clay").largest.depth_m > design.on("loam").largest.depth_m


def test_a_batter_and_a_rate_of_the_run_files_own(run_of) -> None:
    """The batter holds on all soils, what was measured for the run file's texture on that alone."""
    design = section_design(run_of(section={"batter": 1.2}, soil={"ksat_mm_h": 9.0}), ("clay",))
    assert {own.batter for soil in design.soils for own in soil.sections} == {1.2}
    assert [own.ksat_mm_h for own in design.soils] == [9.0, soil_for("clay").ksat_mm_h]


def test_room_for_one_soil_is_that_of_its_largest_section_to_the_bit(run_of) -> None:
    design = section_design(run_of())
    assert design.roomiest is design.soil.largest
    reach, crest_m = design.reach(AIM_M), design.sill_head_m + design.freeboard_m
    alone = footprint_reach(
        design.soil.largest,
        design.mound,
        crest_m,
        design.spoil,
        AIM_M,
        LEAST_MOUNDED_SHARE,
        0.0,
    )
    for name in ("slope_pct", "uphill_m", "downhill_m"):
        assert np.array_equal(getattr(reach, name), getattr(alone, name))


@pytest.mark.parametrize("textures", [("sand", "clay"), ("clay",), ("sand",)])
def test_room_is_kept_for_whatever_soil_a_line_comes_to_lie_on(run_of, textures) -> None:
    design = section_design(run_of(), textures)
    reach = design.reach(AIM_M)
    for slope in np.linspace(0.0, 0.15, 16):
        uphill, _ = reach.at(np.array([100.0 * slope]))
        widest = daylight_m(design.roomiest, np.array([AIM_M]), np.array([slope]))[0]
        for own in design.soils:
            cut_m = cut_reach_m(design, own.texture, slope)
            assert uphill[0] >= cut_m - 1e-9
            assert widest >= cut_m - 1e-9


def test_rock_and_water_table_are_measured_from_the_deepest_that_is_dug(run_of) -> None:
    """Clay is dug 0.1 m deeper than loam, and a layer under the base goes deeper still."""
    assert section_design(run_of()).deepest_m == 0.5
    assert section_design(run_of(), ("clay",)).deepest_m == 0.6
    gravel = run_of(soil={"amendment": "gravel"})
    assert section_design(gravel, ("clay",)).deepest_m == pytest.approx(0.7)


def test_the_deepest_cut_in_clay_stays_under_the_face_that_needs_a_way_out(run_of) -> None:
    """1.2 m, 29 CFR 1926.651(c)(2) (4 ft), on the steepest ground that is allowed unasked, 15 %."""
    clay = section_design(run_of(soil={"texture": "clay"})).soil.largest
    profile = uphill_m(np.array([0.0]), np.array([0.15]))
    assert cuts_of(trenches_of([clay]), profile).face_height_m[0] < 1.2


def test_only_soils_that_lie_on_the_property_count() -> None:
    layer = gpd.GeoDataFrame(
        {"texture": ["clay", "sand", None, "loam"]},
        geometry=[box(0, 0, 5, 5), box(20, 0, 30, 5), box(0, 0, 9, 9), box(4, 4, 12, 12)],
    )
    assert textures_on(layer, box(0, 0, 10, 10)) == ("loam", "clay")
    assert textures_on(layer.iloc[:0], box(0, 0, 10, 10)) == ()


@pytest.mark.parametrize("name", ["ripped", "gravel", "sand", "mulch", "gypsum"])
def test_a_treated_base_soaks_by_conductivity_times_clogging_times_the_treatment(
    run_of, name: str
) -> None:
    """Clay 0.6 mm/h (Rawls, Brakensiek & Saxton 1982, Table 2), half of it clogged."""
    plain = section_design(run_of(soil={"texture": "clay"}))
    treated = section_design(run_of(soil={"texture": "clay", "amendment": name}))
    gain = amendments()[name].soak_factor
    assert plain.soak_m_h(plain.soil) == pytest.approx(0.6 * 0.5 / 1000.0)
    assert treated.soak_m_h(treated.soil) == pytest.approx(gain * 0.6 * 0.5 / 1000.0)
    assert 1.0 < gain <= 2.0


def test_figures_of_the_treatments() -> None:
    """What each takes, and where it is any use.

    ripped 0.3 m: deep tillage of a trial in the Piedmont of North Carolina, Mohammadshirazi et al.
    2016 (read in abstract). gypsum 0.5 kg/m²: 5 t/ha, of 2 to 5 t/ha that are usual on dispersive
    clay (Soils Connect, question 23, read on line). All else common practice, no source.
    """
    known = amendments()
    assert known["ripped"].worked_m == 0.30
    assert known["gypsum"].dose_kg_m2 == 5_000.0 / 10_000.0
    assert known["gypsum"].groups == ("clayey",)
    assert known["mulch"].widest_base_m == 1.2
    for name in ("gravel", "sand"):
        assert known[name].layer_m == 0.1
        assert "sandy" not in known[name].groups


def test_groups_of_soils() -> None:
    """USDA Soil Survey Manual, Handbook 18, ch. 3: general terms (from memory)."""
    by_group: dict[str, set[str]] = {}
    for own in soils().values():
        by_group.setdefault(own.group, set()).add(own.texture)
    assert by_group["sandy"] == {"sand", "loamy-sand"}
    assert by_group["clayey"] == {"sandy-clay", "silty-clay", "clay"}
    assert set(by_group) == {"sandy", "loamy", "clayey"}


def test_a_treatment_is_left_out_on_soils_that_it_is_no_use_on(run_of) -> None:
    design = section_design(run_of(soil={"amendment": "gypsum"}), ("sandy-clay",))
    assert [own.amendment.name for own in design.soils] == ["none", "gypsum"]
    plain = section_design(run_of(), ("sandy-clay",))
    assert design.soak_m_h(design.soil) == plain.soak_m_h(plain.soil)


def test_a_treatment_that_suits_none_of_the_soils_is_refused(run_of) -> None:
    problem = refused(run_of(soil={"amendment": "gypsum", "texture": "sand"}), "loam")
    assert problem.key == "soil.amendment"
    assert "sand, loam" in problem.found
    assert "sandy-clay, silty-clay, clay" in problem.allowed


@pytest.mark.parametrize("section", [{"base_width_m": 1.5}, {"passage": "quad"}])
def test_mulch_on_a_wide_base_is_refused(run_of, section) -> None:
    problem = refused(run_of(soil={"amendment": "mulch"}, section=section))
    assert problem.key == "soil.amendment"
    assert "1.5 m" in problem.found
    assert "1.2 m" in problem.allowed


def test_mulched_swales_that_are_sized_stay_small(run_of) -> None:
    design = section_design(run_of(soil={"amendment": "mulch"}), ("sand", "clay"))
    for own in design.soils:
        assert max(section.base_width_m for section in own.sections) <= 1.2


def test_a_soil_that_stands_too_flat_for_the_ground_is_refused(run_of) -> None:
    """Sand at 2 to 1 on 30 %: m s = 0.6. Loam alone passes."""
    steep = run_of(siting={"max_slope_pct": 30, "steep_sign_off": "for a test"})
    section_design(steep)
    problem = refused(steep, "sand")
    assert problem.key == "section.batter"
    assert "by texture sand" in problem.found
