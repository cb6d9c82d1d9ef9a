"""Sections to choose from."""

from dataclasses import replace

import pytest

from soakline.section.soils import soils
from soakline.section.steps import allowed_sections, least_base_m, shape_for
from soakline.section.trench import Trench

LOAMY, SANDY, CLAYEY = (shape_for(group) for group in ("loamy", "sandy", "clayey"))


def test_sections_rise_by_what_they_hold() -> None:
    for shape in (LOAMY, SANDY, CLAYEY):
        sections = allowed_sections(0.0, 0.0, 1.5, "", shape)
        held = [own.area_m2 for own in sections]
        assert held == sorted(held)
        assert {own.batter for own in sections} == {1.5}


def test_loam_has_bases_of_up_to_2_m_and_half_a_metre_of_depth() -> None:
    """Bases of 1 to 2 m, narrower for small catchments: common practice, no source."""
    sections = allowed_sections(0.0, 0.0, 1.5, "", LOAMY)
    assert set(sections) == {
        Trench(base, depth, 1.5) for base in (0.6, 0.9, 1.2, 1.5, 1.8) for depth in (0.3, 0.4, 0.5)
    }


@pytest.mark.parametrize("batter", [1.0, 1.5, 2.0])
def test_sand_is_wide_and_shallow_and_clay_narrow_and_deep(batter: float) -> None:
    """Common practice, no source: config/section_shapes.csv."""
    sand, loam, clay = (
        allowed_sections(0.0, 0.0, batter, "", shape) for shape in (SANDY, LOAMY, CLAYEY)
    )
    for of, sign in (("base_width_m", 1.0), ("depth_m", -1.0)):
        for end in (min, max):
            sizes = [sign * end(getattr(own, of) for own in kind) for kind in (sand, loam, clay)]
            assert sizes == sorted(sizes, reverse=True), (of, end)
        assert len({max(getattr(own, of) for own in kind) for kind in (sand, loam, clay)}) == 3


def test_each_group_of_soils_has_a_shape_whose_last_section_is_widest_and_deepest() -> None:
    """Room for ground works is kept for the last one."""
    for group in {own.group for own in soils().values()}:
        for passage in ("", "foot", "barrow", "quad", "tractor"):
            sections = allowed_sections(0.0, 0.0, 1.5, passage, shape_for(group))
            assert sections[-1].base_width_m == max(own.base_width_m for own in sections)
            assert sections[-1].depth_m == max(own.depth_m for own in sections)
    with pytest.raises(ValueError, match="peaty"):
        shape_for("peaty")


def test_what_the_run_file_gives_is_not_chosen() -> None:
    for shape in (LOAMY, SANDY, CLAYEY):
        assert {own.base_width_m for own in allowed_sections(1.1, 0.0, 1.5, "", shape)} == {1.1}
        assert {own.depth_m for own in allowed_sections(0.0, 0.8, 1.5, "", shape)} == {0.8}
        assert len(allowed_sections(1.1, 0.45, 1.5, "", shape)) == 1


@pytest.mark.parametrize(
    ("passage", "least_m"), [("foot", 0.6), ("barrow", 0.9), ("quad", 1.5), ("tractor", 2.4)]
)
def test_what_passes_along_the_base_sets_its_least_width(passage: str, least_m: float) -> None:
    """Track widths: common practice, no source."""
    assert least_base_m(passage) == least_m
    sections = allowed_sections(0.0, 0.0, 1.5, passage, LOAMY)
    assert min(own.base_width_m for own in sections) == least_m


def test_what_must_pass_comes_before_the_soils_own_shape() -> None:
    """A tractor on clay has its 2.4 m; a quad bike there no more than clay and it ask for."""
    tractor = allowed_sections(0.0, 0.0, 1.0, "tractor", CLAYEY)
    assert min(own.base_width_m for own in tractor) == 2.4
    assert {own.depth_m for own in tractor} == {0.4, 0.5, 0.6}
    quad = allowed_sections(0.0, 0.0, 1.0, "quad", CLAYEY)
    assert {own.base_width_m for own in quad} == {1.5}


def test_a_treatment_for_narrow_bases_leaves_out_the_wide_ones() -> None:
    sections = allowed_sections(0.0, 0.0, 1.5, "", LOAMY, widest_m=1.2)
    assert {own.base_width_m for own in sections} == {0.6, 0.9, 1.2}
    assert sections == allowed_sections(0.0, 0.0, 1.5, "", replace(LOAMY, most_base_m=1.2))
