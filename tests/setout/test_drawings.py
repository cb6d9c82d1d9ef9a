"""Drawings: true to scale, and no text over another."""

import warnings
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
import shapely
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Polygon
from matplotlib.text import Text
from shapely import LineString

from soakline.section.trench import Trench
from soakline.setout.detail_sheet import detail_sheets
from soakline.setout.long_sheet import long_sheets
from soakline.setout.plan import Benchmark, SetOutPlan, Sight
from soakline.setout.read import read_setout
from soakline.setout.section_notes import trench_notes
from soakline.setout.section_sheet import section_sheet
from soakline.setout.section_types import section_types
from soakline.setout.sheet import Sheet, drawing_style, write_pdf, write_svg
from soakline.setout.sight_sheet import sight_sheets
from soakline.setout.swale import Beside, Swale
from tests.setout.conftest import PlanFileOf


def with_shapes(plan: SetOutPlan) -> SetOutPlan:
    """The plan's swales in shapes that crowd a drawing: deep, narrow, flat, spread, short."""
    first = plan.swales[0]
    made: list[Swale] = []
    for k, (base, depth, slope, crest) in enumerate(
        [(0.6, 1.2, 0.14, 0.3), (4.0, 0.3, 0.02, 0.2), (1.5, 0.5, 0.01, 0.0), (0.4, 0.2, 0.1, 0.1)]
    ):
        top = base + 3.0 * depth
        daylight = top / (1.0 - 1.5 * slope)
        one = np.ones_like(first.chainage_m)
        beside = Beside(0.0 * one, daylight * one, slope * daylight * one, slope * one, slope * one)
        made.append(
            replace(
                first,
                swale_id=f"S{100 + k}",
                trench=Trench(base, depth, 1.5),
                below_m=0.1 * (k % 2),
                slope=slope,
                sill_level_m=first.level_m if crest else first.level_m - 0.1,
                crest_height_m=crest,
                crest_width_m=0.5 if crest else 0.0,
                beside=beside,
                face_height_m=depth + 0.4,
            )
        )
    return replace(plan, swales=(*plan.swales, *made))


def texts_overlap(sheet: Sheet) -> list[tuple[str, str]]:
    """Pairs of texts whose boxes meet, and texts that leave the page."""
    sheet.figure.canvas.draw()
    texts = [t for t in sheet.figure.findobj(Text) if t.get_visible() and t.get_text()]
    boxes = [t.get_window_extent() for t in texts]
    page = sheet.figure.bbox
    off = [
        (t.get_text(), "the edge")
        for t, box in zip(texts, boxes, strict=True)
        if box.x0 < page.x0 or box.x1 > page.x1 or box.y0 < page.y0 or box.y1 > page.y1
    ]
    # A box holds its type's full height, so that boxes of neighbouring lines may touch by a hair.
    small = [box.padded(-0.25) for box in boxes]
    meet = [
        (texts[i].get_text(), texts[j].get_text())
        for i, j in combinations(range(len(texts)), 2)
        if small[i].overlaps(small[j])
    ]
    return off + meet


@pytest.mark.parametrize("paper", ["A4", "A3"])
@pytest.mark.parametrize("crossing", ["ford", "causeway"])
def test_sills_and_crossings_are_drawn_with_their_figures(
    plan_file_with: PlanFileOf, paper: str, crossing: str
) -> None:
    crossed = read_setout(plan_file_with(crossing))
    with drawing_style():
        (sheet,) = detail_sheets(crossed, paper)
        told = words_of(sheet)
        assert texts_overlap(sheet) == []
        pipes = [own.get_window_extent() for own in sheet.figure.findobj(Circle)]
        grounds = [own.get_window_extent() for own in sheet.figure.findobj(Polygon)]
        for pipe in pipes:  # in the ground, over the dimensions
            assert any(own.x0 < pipe.x0 < own.x1 and own.y0 < pipe.y0 for own in grounds)
        assert [texts_overlap(own) for own in long_sheets(crossed, paper)] == [[]]
    longest = max(sill.end_m - sill.start_m for swale in crossed.swales for sill in swale.sills)
    assert f"{longest:.2f} m long" in told
    crowns = [own.level_m + track.crown_m for own in crossed.swales for track in own.tracks]
    assert any(f"crown {level_m:.3f}" in told for level_m in crowns)
    assert "licensed engineer's design" in told
    assert len(pipes) == (crossing == "causeway")


@pytest.mark.parametrize("paper", ["A4", "A3"])
def test_no_text_lies_over_another(plan: SetOutPlan, paper: str) -> None:
    crowded = with_shapes(plan)
    with drawing_style():
        sheets = [section_sheet(crowded, kind, paper) for kind in section_types(crowded)]
        sheets += detail_sheets(crowded, paper) + long_sheets(crowded, paper)
        sheets += sight_sheets(with_sights(crowded), paper)
        assert len(sheets) > 3
        assert [texts_overlap(sheet) for sheet in sheets] == [[]] * len(sheets)


@pytest.mark.parametrize("paper", ["A4", "A3"])
def test_any_name_of_a_property_finds_room_and_warns_of_no_letter(
    plan: SetOutPlan, paper: str
) -> None:
    """The font that ships with matplotlib has no Chinese: a box stands for such a letter."""
    warnings.simplefilter("error")
    for name in ("水の農場", "Upper Wallaby Creek and Lower Wallaby Creek joint holding " * 3):
        named = replace(plan, name=name)
        with drawing_style():
            sheets = [section_sheet(named, kind, paper) for kind in section_types(named)]
            sheets += detail_sheets(named, paper) + long_sheets(named, paper)
            sheets.append(Sheet(paper, name, "sheet B12, 1 : 2500 on A4, contours every 1 m"))
            assert [texts_overlap(sheet) for sheet in sheets] == [[]] * len(sheets)
        assert ("□□□□" if name[0] == "水" else f"{name[:59]}…") in words_of(sheets[0])


def test_a_section_is_to_scale(plan: SetOutPlan) -> None:
    kind = section_types(plan)[0]
    with drawing_style():
        sheet = section_sheet(plan, kind, "A4")
    scale = next(
        int(t.get_text().split(":")[1].split()[0])
        for t in sheet.axes.texts
        if t.get_text().startswith("Scale 1 : ")
    )
    water = kind.drawn.trench.top_width_m * 1000.0 / scale
    lengths = [
        float(np.ptp(np.asarray(line.get_xdata(), float))) for line in sheet.figure.findobj(Line2D)
    ]
    assert min(abs(length - water) for length in lengths) < 0.01
    assert sheet.figure.get_size_inches() * 25.4 == pytest.approx((297.0, 210.0))  # ISO 216, A4


def drawn(plan: SetOutPlan, swale: Swale, paper: str = "A4") -> Sheet:
    """The section of one swale."""
    own = replace(plan, swales=(swale,))
    with drawing_style():
        sheet = section_sheet(own, section_types(own)[0], paper)
        sheet.figure.canvas.draw()
    return sheet


@pytest.mark.parametrize("paper", ["A4", "A3"])
@pytest.mark.parametrize("base_m", [0.6, 4.0, 8.0, 14.0, 30.0])
def test_a_section_fills_its_sheet_and_no_line_strikes_the_depth(
    plan: SetOutPlan, base_m: float, paper: str
) -> None:
    """Wide and shallow, the water is thinner on paper than a figure is high."""
    swale = replace(plan.swales[0], trench=Trench(base_m, 0.37, 1.5), crest_width_m=base_m)
    top = swale.trench.top_width_m
    one = np.ones_like(swale.chainage_m)
    beside = Beside(0.0 * one, 1.14 * top * one, 0.09 * top * one, 0.08 * one, 0.08 * one)
    sheet = drawn(plan, replace(swale, beside=beside), paper)
    ground = max(
        (own.get_xy() for own in sheet.figure.findobj(Polygon)), key=lambda own: np.ptp(own[:, 0])
    )
    assert np.ptp(ground[:, 0]) > 0.6 * (sheet.width_mm - 52.0)
    (figure,) = [text for text in sheet.axes.texts if text.get_text() == "0.37"]
    box = figure.get_window_extent().padded(-1.0)
    for line in sheet.axes.get_children():
        if not isinstance(line, Line2D):
            continue
        ends = sheet.axes.transData.transform(np.column_stack([line.get_xdata(), line.get_ydata()]))
        assert not LineString(ends).intersects(shapely.box(box.x0, box.y0, box.x1, box.y1))


def test_what_the_berm_and_a_sill_under_the_lip_measure_is_drawn(plan: SetOutPlan) -> None:
    first = plan.swales[0]
    off = replace(first, mound=replace(first.mound, berm_m=0.6))
    assert "berm 0.60" in words_of(drawn(plan, off))
    assert "berm" not in words_of(drawn(plan, replace(off, mound=replace(off.mound, berm_m=0.0))))
    spread = replace(first, sill_level_m=first.level_m - 0.1, crest_height_m=0.0, crest_width_m=0.0)
    assert "full water = sill, 0.10 under the lip" in words_of(drawn(plan, spread))
    assert "under the lip" not in words_of(drawn(plan, first))


def test_faces_of_layers_ponds_and_basins_count_for_trench_safety(pointed: SetOutPlan) -> None:
    """29 CFR 1926.651 and .652: 4 ft and 5 ft. Pits are filled on the day they are dug."""
    first = pointed.swales[0]
    assert first.face_height_m < 1.2
    assert {own.kind for own in first.hollows} == {"pond", "basin", "organic_pit"}

    def told(kind: str, face_m: float, below_m: float = 0.0) -> str:
        hollows = tuple(
            replace(own, face_height_m=face_m if own.kind == kind else 1.0) for own in first.hollows
        )
        own = replace(first, hollows=hollows, below_m=below_m)
        with drawing_style():
            long = words_of(long_sheets(replace(pointed, swales=(own,)), "A4")[0])
        return words_of(drawn(pointed, own)) + long

    for kind, limit, face_m in (("pond", "over 1.2 m", 1.41), ("basin", "over 1.5 m", 1.73)):
        words = told(kind, face_m)
        assert f"for ponds and basins {face_m:.2f} m" in words
        assert limit in words
        assert f"face {face_m:.2f} m: trench safety" in words
    assert "afety" not in told("organic_pit", 2.0)
    assert "over 1.2 m" in told("pond", 1.0, below_m=1.25 - first.face_height_m)


def test_names_of_ponds_stand_clear_of_the_mound(pointed: SetOutPlan) -> None:
    """Where a floor is as deep as fills the graph from top to bottom."""
    first = pointed.swales[0]
    floor = first.level_m + first.crest_height_m - 1.645
    own = replace(first, hollows=tuple(replace(own, floor_level_m=floor) for own in first.hollows))
    with drawing_style():
        (sheet,) = long_sheets(replace(pointed, swales=(own,)), "A4")
        sheet.figure.canvas.draw()
    names = [t for t in sheet.axes.texts if t.get_text().split()[0] in ("pond", "basin", "pit")]
    assert len(names) == 3
    (head,) = [t.get_text() for t in sheet.axes.texts if "heights 1 : " in t.get_text()]
    assert "heights 1 : 100" in head
    # The mound is the highest line of the graph; that of the key stands over all names.
    mound = [line for line in sheet.axes.get_children() if isinstance(line, Line2D)
             and line.get_color() == "#9a6a1f"][1:]  # fmt: skip
    over_px = [
        min(t.get_window_extent().y0 for t in names) - line.get_window_extent().y1 for line in mound
    ]
    assert mound
    assert min(over_px) > 0.0


@pytest.mark.parametrize("depth_m", [0.3, 0.6, 0.9, 1.2, 2.4])
def test_long_sections_fill_the_height_that_they_have(plan: SetOutPlan, depth_m: float) -> None:
    """16.5 mm; 1 : 50 and 1 : 100 alone left two fifths of it empty."""
    own = replace(plan.swales[0], trench=Trench(0.6, depth_m, 1.5))
    with drawing_style():
        words = words_of(long_sheets(replace(plan, swales=(own,)), "A4")[0])
    scale = int(words.split("heights 1 : ")[1].split()[0].rstrip(","))
    high_mm = 1000.0 * (depth_m + own.crest_height_m) / scale
    assert 0.6 * 16.5 < high_mm <= 16.5


def test_every_swale_has_its_long_section_and_each_type_its_section(plan: SetOutPlan) -> None:
    crowded = with_shapes(plan)
    with drawing_style():
        words = [t.get_text() for s in long_sheets(crowded, "A3") for t in s.axes.texts]
    assert [w for w in words if w in {s.swale_id for s in crowded.swales}] == [
        s.swale_id for s in crowded.swales
    ]
    types = section_types(crowded)
    assert sum(len(kind.swales) for kind in types) == len(crowded.swales)


def with_sights(plan: SetOutPlan) -> SetOutPlan:
    """The plan's own sight lines, and many more: short, long, over the lip above and under it."""
    made = [
        Sight(f"S{100 + k}", f"S{200 + k}", 12.5 * (k % 9 + 1), 0.9 * (k % 5 + 1), 3.0 + k % 4)
        for k in range(29)
    ]
    return replace(plan, sights=(*plan.sights, *made))


def test_every_pair_of_neighbours_is_drawn_with_what_shows(plan: SetOutPlan) -> None:
    assert len(plan.sights) >= 1
    high, low = Sight("S001", "S002", 50.0, 6.5, 5.0), Sight("S002", "S003", 50.0, 4.0, 5.0)
    with drawing_style():
        sheets = sight_sheets(with_sights(plan), "A4")
        told = " ".join(words_of(sheet) for sheet in sheets)
        both = words_of(sight_sheets(replace(plan, sights=(high, low)), "A4")[0])
        assert sight_sheets(replace(plan, sights=()), "A4") == []
    assert len(sheets) > 1
    for sight in with_sights(plan).sights:
        assert f"{sight.below_id} up to {sight.above_id}" in told
    # Trees of 5 m below a lip 6.5 m and one 4 m higher.
    assert "1.50 m of bare hill shows" in both
    assert "trees stand 1.00 m before the upper swale" in both
    # By the rule of tree height the line from the top meets the lip above.
    own = plan.sights[0]
    assert own.drop_m == pytest.approx(own.tree_height_m, abs=1e-6)


def words_of(sheet: Sheet) -> str:
    return " ".join(text.get_text() for text in sheet.axes.texts)


def test_cautions_stand_beside_their_figures(plan: SetOutPlan) -> None:
    deep = [kind for kind in section_types(with_shapes(plan)) if kind.drawn.face_height_m > 1.5]
    assert deep
    with drawing_style():
        told = words_of(section_sheet(plan, deep[0], "A4"))
        long = words_of(long_sheets(plan, "A4")[0])
    assert "over 1.5 m support or flat batters" in told
    for words in (told, long):
        assert "located before any digging" in words
        assert "Not a design to build from unseen" in words
        assert "Local codes and licensed practice" in words


def test_heights_over_the_benchmark_are_written(plan: SetOutPlan) -> None:
    swale = plan.swales[0]
    low = replace(plan, benchmark=Benchmark(0.0, 0.0, swale.level_m - 2.5))
    with drawing_style():
        assert "(BM +2.500)" in words_of(long_sheets(low, "A4")[0])
        assert "BM" not in words_of(long_sheets(replace(plan, benchmark=None), "A4")[0])


def test_drawings_are_the_same_twice(plan: SetOutPlan, tmp_path: Path) -> None:
    made = []
    for name in ("a", "b"):
        with drawing_style():
            sheets = [section_sheet(plan, kind, "A4") for kind in section_types(plan)]
            write_pdf(sheets, tmp_path / f"{name}.pdf", "test")
            write_svg(sheets[0], tmp_path / f"{name}.svg")
        made.append([(tmp_path / f"{name}.{end}").read_bytes() for end in ("pdf", "svg")])
    assert made[0] == made[1]
    assert made[0][0].startswith(b"%PDF")


def test_a_section_tells_the_soils_of_its_own_swales(plan: SetOutPlan) -> None:
    """Those that lie on other soil than the run file's are told with their own rate."""
    first, second, *others = plan.swales
    clayey = replace(second, texture="clay-loam", soaking_mm_h=1.12)
    mixed = replace(plan, swales=(first, clayey, *others))
    (kind,) = section_types(mixed)
    told = " ".join(words for words, _ in trench_notes(mixed, kind, 90))
    rate = f"{first.soaking_mm_h:.1f}"
    assert f"Soil: loam, soaking {rate} mm/h; clay-loam, soaking 1.1 mm/h, with clogging" in told
    assert rate == "6.6"  # half of 13.2 mm/h, Rawls, Brakensiek & Saxton 1982
