"""Findings on ponds, basins and organic pits: soil, depth, standing water, what is not counted."""

from collections.abc import Iterator

import numpy as np

from soakline.findings import Finding
from soakline.outputs.cautions import face_advice, face_words
from soakline.outputs.designed import Designed
from soakline.outputs.points import point_ids, seep_h
from soakline.section.mound import SPOIL_OFF_M
from soakline.section.point_faces import deepest_face_m
from soakline.section.points import APART_M, Search, point_rules
from soakline.section.soils import soil_for
from soakline.siting.excluded import ROCK_ROOM_M, WATER_ROOM_M

_LAYER = "swale_points"
_NAMED_POINTS = 5
_SAME_M = 1e-6
_PLURAL = {"pond": "ponds", "basin": "basins", "organic_pit": "organic pits"}


def point_findings(plan: Designed) -> Iterator[Finding]:
    """What is to be said of all points together, then of each."""
    yield from _on_left_out(plan)
    for search in plan.points.searched:
        yield _on_search(search, plan.run.swale_points.least_swale_m)
    yield from _on_all(plan)
    hours = seep_h(plan.points)
    for k, feature in enumerate(point_ids(plan.points, plan.placed.ids)):
        yield from _on_soil(plan, k, feature)
        if plan.points.kind[k] == "pond":
            yield from _on_pond(plan, k, feature, float(hours[k]))
        yield from _on_depth(plan, k, feature)
    yield from _on_faces(plan)


def _on_left_out(plan: Designed) -> Iterator[Finding]:
    left_out = plan.points.left_out
    if not left_out:
        return
    named = [f"feature {own.row + 1} ({own.kind}): {own.why}" for own in left_out[:_NAMED_POINTS]]
    more = len(left_out) - _NAMED_POINTS
    yield Finding(
        "swale_point_left_out",
        "caution",
        _LAYER,
        "",
        f"{len(left_out)} of the chosen points are left out (in the file's order): "
        + "; ".join(named)
        + (f"; and {more} more" if more > 0 else ""),
        "move them along the swale, make them smaller, or take them out of the features file",
    )


def _on_search(search: Search, least_m: float) -> Finding:
    kinds = _PLURAL[search.kind]
    rest = [
        f"{count} {why}"
        for count, why in (
            (search.chosen, "have one that was chosen"),
            (search.short, f"are shorter than {least_m:g} m"),
            (search.other_soil, "lie on soil that asks for none"),
            (search.narrow, "have a base too narrow for the depth"),
            (search.no_room, "have no room for one along, beside or below them"),
        )
        if count
    ]
    return Finding(
        "swale_points_suggested",
        "note",
        _LAYER,
        "",
        f"{kinds} are suggested on {search.placed} swales, one each, in the middle of the longest "
        f"reach {APART_M:g} m clear of ends, sills, tracks and one another"
        + (f"; of the others {', '.join(rest)}" if rest else ""),
        "look at each place, and dig a test pit there, before it is built; move them in a GIS and "
        "give the layer back in the features file",
    )


def _on_all(plan: Designed) -> Iterator[Finding]:
    own = plan.points
    held = float(own.storage_m3.sum())
    if held > 0.0:
        yield Finding(
            "swale_points_not_counted",
            "note",
            _LAYER,
            "",
            f"ponds and basins hold {held:.1f} m³ that no capacity, storm, sill or time to empty "
            "counts on: a pond may be full when the storm comes",
            "take it as a reserve; the sill stays where it is",
        )
    ponds, pits = (int(np.count_nonzero(own.kind == kind)) for kind in ("pond", "organic_pit"))
    passage = plan.run.section.passage
    if passage and ponds + pits:
        yield Finding(
            "passage_interrupted",
            "caution",
            _LAYER,
            "",
            f"{ponds} ponds and {pits} pits lie in bases that something (section.passage = "
            f'"{passage}") is to pass along: it stops at a pond, and the fill of a pit gives way',
            "pass beside them on firm ground, or keep ponds and pits to swales that nothing passes",
        )
    if pits:
        yield Finding(
            "organic_pits_settle",
            "caution",
            _LAYER,
            "",
            f"{pits} pits take {own.organic_m3.sum():.1f} m³ of logs, prunings and mulch: it "
            "settles as it rots, takes up nitrogen at first, and burns where it dries out",
            "keep it under the base alone, never under lip, mound, sill or track, whose fill it "
            "would let down; fill a pit on the day on which it is dug, cover it with soil, top it "
            "up; keep heaps of it damp and off buildings, by local fire rules",
        )


def _on_soil(plan: Designed, k: int, feature: str) -> Iterator[Finding]:
    own = plan.points
    kind, texture, rate = str(own.kind[k]), own.texture[k], 1000.0 * float(own.soak_m_h[k])
    rule = point_rules()[kind]
    if not rule.suits(soil_for(texture).group, rate):
        wants = (
            f"ground that soaks {rule.least_soak_mm_h:g} mm/h and more"
            if kind == "basin"
            else f"clay that soaks {rule.most_soak_mm_h:g} mm/h and less"
        )
        yield Finding(
            "swale_point_on_other_soil",
            "caution",
            _LAYER,
            feature,
            f"a {kind} wants {wants}; here is {texture} that soaks {rate:.3g} mm/h",
            "test the soil in a pit on site; choose another place, or do without",
        )


def _on_pond(plan: Designed, k: int, feature: str, hours: float) -> Iterator[Finding]:
    own = plan.points
    depth, asked = float(own.depth_m[k]), float(own.asked_m[k])
    if depth < asked - _SAME_M:
        yield Finding(
            "pond_shallower",
            "caution",
            _LAYER,
            feature,
            f"{asked:g} m below the base were asked for; sides at the batter, ramps of 1 in "
            f"{point_rules()['pond'].end_ramp:g} and a floor of "
            f"{point_rules()['pond'].least_floor_m:g} m leave room for {depth:.2f} m",
            "plan a wider base, or a longer pond",
        )
    base = float(plan.figures.sections[own.lip[k]].depth_m)
    yield Finding(
        "pond_stands",
        "caution",
        _LAYER,
        feature,
        f"{own.storage_m3[k]:.1f} m³ stand up to {depth:.2f} m deep below the base, under "
        f"{base + depth:.2f} m of water when the swale is full, and seep away in about "
        f"{hours / 24.0:.0f} days. Standing water can drown a child and breeds mosquitoes",
        "keep the ramps free as a way out, fence it where local codes ask for it; do not dig "
        "through the clay into what lies below, and leave gypsum and ripping out here",
    )


def _on_depth(plan: Designed, k: int, feature: str) -> Iterator[Finding]:
    own = plan.points
    floor = float(plan.figures.sections[own.lip[k]].depth_m + own.depth_m[k])
    found = [
        f"{what} lies {depth:g} m down, the floor {floor:.2f} m, and {room:g} m are wanted between"
        for what, depth, room in (
            ("rock", float(own.rock_m[k]), ROCK_ROOM_M),
            ("the water table", float(own.water_m[k]), WATER_ROOM_M),
        )
        if depth < floor + room
    ]
    if found:
        yield Finding(
            "swale_point_too_deep",
            "caution",
            _LAYER,
            feature,
            "; ".join(found),
            "make it shallower, or choose another place; works that reach groundwater may need a "
            "permit",
        )


def _on_faces(plan: Designed) -> Iterator[Finding]:
    """Faces that people and machines have to do with; pits are alike, and told by the highest."""
    own, ids = plan.points, point_ids(plan.points, plan.placed.ids)
    face = deepest_face_m(own, plan.design.layers_m(plan.figures.texture))
    pits = np.flatnonzero(own.kind == "organic_pit")
    for k in np.flatnonzero(own.kind != "organic_pit").tolist():
        yield from _on_face(plan, k, float(face[k]), ids[k], "")
    if pits.size:
        highest = int(pits[np.argmax(face[pits])])
        where = f"at the {pits.size} pits: "
        yield from _on_face(plan, highest, float(face[highest]), "", where)


def _on_face(plan: Designed, k: int, face: float, feature: str, where: str) -> Iterator[Finding]:
    own, machine = plan.points, plan.inputs.works.machine
    words = face_words(face)
    if words:
        advice = (
            f"keep people out of pits, heap what is dug {SPOIL_OFF_M:g} m off their edges, fill "
            "each on the day on which it is dug; follow local rules"
            if own.kind[k] == "organic_pit"
            else face_advice(float(plan.works.mound.berm_m[own.lip[k]]))
        )
        yield Finding("trench_safety", "caution", _LAYER, feature, where + words, advice)
    short = []
    if face > machine.dig_depth_m:
        short.append(f"it digs {machine.dig_depth_m:g} m deep, the face is {face:.2f} m")
    if own.kind[k] == "basin" and own.daylight_m[k] > machine.reach_m:
        short.append(f"it reaches {machine.reach_m:g} m, {own.daylight_m[k]:.1f} m are dug across")
    if short:
        yield Finding(
            "machine_unfit",
            "caution",
            _LAYER,
            feature,
            f"{where}{machine.name} cannot dig this from the lip: {'; '.join(short)}",
            "choose another machine or a smaller size; let nobody work below a face that local "
            "rules want supported",
        )
