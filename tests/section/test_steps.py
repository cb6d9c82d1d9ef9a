"""Sections to choose from."""

import pytest

from soakline.section.steps import allowed_sections, least_base_m


def test_sections_rise_by_what_they_hold() -> None:
    sections = allowed_sections(0.0, 0.0, 1.5, "")
    held = [own.area_m2 for own in sections]
    assert held == sorted(held)
    assert {own.batter for own in sections} == {1.5}
    assert max(own.base_width_m for own in sections) == 1.8


def test_what_the_run_file_gives_is_not_chosen() -> None:
    assert {own.base_width_m for own in allowed_sections(1.1, 0.0, 1.5, "")} == {1.1}
    assert {own.depth_m for own in allowed_sections(0.0, 0.45, 1.5, "")} == {0.45}
    assert len(allowed_sections(1.1, 0.45, 1.5, "")) == 1


@pytest.mark.parametrize(
    ("passage", "least_m"), [("foot", 0.6), ("barrow", 0.9), ("quad", 1.5), ("tractor", 2.4)]
)
def test_what_passes_along_the_base_sets_its_least_width(passage: str, least_m: float) -> None:
    """Track widths: common practice, no source."""
    assert least_base_m(passage) == least_m
    assert min(own.base_width_m for own in allowed_sections(0.0, 0.0, 1.5, passage)) == least_m
