"""Findings on swales: each beside the figure that it concerns."""

from collections.abc import Iterator

import numpy as np

from soakline.findings import Finding, Severity
from soakline.ids import spillway_id
from soakline.outputs.designed import Designed
from soakline.overflow.ranking import LONGEST_SILL_M
from soakline.siting.hazards import RISK_WAY_M, STEEP_AREA_M2, STEEP_PCT

_WAY_OUT_FROM_M, _SUPPORT_FROM_M = 1.2, 1.5
_FAO_LIMIT_PCT, _STEEP_NOTE_PCT = 5.0, 10.0
_SHOWN_SHARE = 0.01
# Less spoil than this is within the guess of swell and settlement.
_SOME_M3 = 0.05
_SAME_HEAD_M = 1e-4
_NAMED_SWALES = 6


def _swale(
    plan: Designed, i: int, code: str, severity: Severity, message: str, advice: str
) -> Finding:
    return Finding(code, severity, "swales", plan.placed.lines[i].swale_id, message, advice)


def face_words(face_m: float) -> str:
    """Message on a cut face; empty where it is low."""
    if face_m <= _WAY_OUT_FROM_M:
        return ""
    at = _SUPPORT_FROM_M if face_m > _SUPPORT_FROM_M else _WAY_OUT_FROM_M
    need = "support or flat batters are" if face_m > _SUPPORT_FROM_M else "a way out is"
    return (
        f"the cut face stands {face_m:.2f} m high, over {at:g} m, from where {need} usually "
        "asked for (29 CFR 1926.651 and .652; Model WHS Regulations r. 306)"
    )


def face_advice(berm_m: float) -> str:
    """Beside a high face that stays open, the mound so far from the lip."""
    return (
        f"keep people out of the trench; the mound begins {berm_m:g} m from the lip, heap no spoil "
        "nearer; follow local rules"
    )


def swale_findings(plan: Designed) -> Iterator[Finding]:
    """What is to be said of each swale, from the highest down."""
    for i in range(len(plan.placed.lines)):
        yield from _on_safety(plan, i)
        yield from _on_ground(plan, i)
        yield from _on_water(plan, i)
        yield from _on_failure(plan, i)
        yield from _on_works(plan, i)


def _on_safety(plan: Designed, i: int) -> Iterator[Finding]:
    outlets = plan.outlets
    if outlets.safe[i]:
        return
    own = outlets.sills[i]
    edge = [s for s in own if s.way.goal > 0
            and plan.placed.end_map.ends[s.way.goal - 1].kind == "property_edge"]  # fmt: skip
    if not own and not plan.placed.exits.leads_off[i]:
        why = (
            "no stretch of its lip is fit for a sill: the ground lies off its level, or leads back"
        )
    elif not own:
        why = "no way down was found that keeps off buildings, septic fields, wells and bad ground"
    elif edge:
        why = "its overflow leaves over the property's edge, away from any drainage line"
        if len(edge) < len(own):
            why = f"part of {why}: safe ways have no room for longer sills"
    elif any(sill.way.goal == 0 for sill in own):
        why = "its overflow runs on to ground that the elevation model has no heights of"
    else:
        why = "what it spills into has no safe end itself"
    yield _swale(
        plan,
        i,
        "no_safe_end",
        "stop",
        f"the overflow has no safe end: {why}",
        "do not build this swale, nor those above it that spill into it, before a safe end is "
        "agreed: add a safe point, a dam with a spillway, or a neighbour's consent; ask a licensed "
        "engineer",
    )


def _on_ground(plan: Designed, i: int) -> Iterator[Finding]:
    slope = float(plan.figures.slope_pct[i])
    if slope > _STEEP_NOTE_PCT:
        yield _swale(
            plan,
            i,
            "slope_over_10",
            "caution",
            f"the ground slopes {slope:.1f} %: over 10 % soaking water can loosen a hillside",
            "have the soil's stability judged on site by a licensed engineer",
        )
    elif slope > _FAO_LIMIT_PCT:
        yield _swale(
            plan,
            i,
            "slope_over_5",
            "note",
            f"the ground slopes {slope:.1f} %: FAO (AGL/MISC/17, 1991) advises against works that "
            "collect runoff above 5 %, for uneven runoff and large earthworks",
            "weigh closer spacing and smaller sections",
        )
    below = plan.below
    if below.steep[i] or below.landslip[i]:
        what = (
            f"ground of {STEEP_PCT:g} % or more, over {STEEP_AREA_M2:g} m²"
            if below.steep[i]
            else "a landslip"
        )
        risk = bool(below.at_risk[i])
        there = (
            f", and a building, a track or a neighbour within {RISK_WAY_M:g} m on that way"
            if risk
            else ""
        )
        yield _swale(
            plan,
            i,
            "unstable_ground_below",
            "stop" if risk else "caution",
            f"down the way of its water lies {what}{there}",
            "soaking above a slope can set it moving: a geotechnical engineer must judge it first",
        )
    share = float(plan.figures.share_cut_off[i])
    if share >= _SHOWN_SHARE:
        yield _swale(
            plan,
            i,
            "catchment_cut_off",
            "caution",
            f"{100 * share:.0f} % of the catchment drains from ground that the DEM's edge cuts "
            "off: more water may come than is counted",
            "give a DEM that reaches up to the divide",
        )


def _on_water(plan: Designed, i: int) -> Iterator[Finding]:
    hours = float(plan.figures.drain_down_h[i])
    limit = plan.run.section.max_drain_h
    if hours > limit:
        passes = float(plan.figures.depth_in_time_m[i])
        yield _swale(
            plan,
            i,
            "drains_slowly",
            "caution",
            f"takes {hours:.0f} h from full to empty, over {limit:g} h; water {passes:.2f} m deep "
            "would soak away in time. Standing water breeds mosquitoes and can drown a "
            "child",
            "test the soil on site; a wider and shallower section soaks faster",
        )
    governing = int(plan.results.governing[i])
    overflow = float(plan.results.routing.overflow_m3[i, governing])
    if overflow > 0:
        received = float(plan.results.routing.received_m3[i, governing])
        spacing = float(plan.figures.spacing_runoff_m[i])
        strip = float(plan.catchments.area_m2[i]) / float(plan.figures.length_m[i])
        helps = []
        # What its own ground sheds it may hold already: then only those above would help.
        if np.isfinite(spacing) and strip > spacing:
            too = ", those above too" if received > 0 else ""
            helps.append(f"swales {spacing:.0f} m apart or closer{too}")
        if received > 0:
            helps.append(f"less from above ({received:.0f} m³ of it is spill of other swales)")
        helps.append("a wider or amended base")
        yield _swale(
            plan,
            i,
            "capacity_short",
            "caution",
            f"{overflow:.0f} m³ are more than it holds in the design storm "
            f"{plan.storms[governing].storm_id} and go over the sill; what would help: "
            f"{'; '.join(helps)}",
            "weigh these against a spillway that runs more often",
        )


def _on_failure(plan: Designed, i: int) -> Iterator[Finding]:
    below = plan.figures.overtopped[i]
    if not below:
        return
    named = ", ".join(plan.placed.lines[j].swale_id for j in below[:_NAMED_SWALES])
    more = f" and {len(below) - _NAMED_SWALES} more" if len(below) > _NAMED_SWALES else ""
    yield _swale(
        plan,
        i,
        "chain_failure",
        "caution",
        f"if it let go of all its {plan.figures.capacity_m3[i]:.0f} m³ at the peak of the check "
        f"storm, {named}{more} below would be overtopped",
        "compact the made-up lip, keep spoil out of the water's way, walk the chain after every "
        "storm; where people are below, a licensed engineer must judge it",
    )


def _on_works(plan: Designed, i: int) -> Iterator[Finding]:
    volumes = plan.works.volumes
    # Under a layer on the base it is dug deeper, and that is when people stand in it.
    layer = plan.design.on(plan.figures.texture[i]).amendment.layer_m
    face, wedge = float(volumes.face_height_m[i]) + layer, float(volumes.wedge_m2[i])
    short, surplus = float(volumes.short_m3[i]), float(volumes.surplus_m3[i])
    words = face_words(face)
    if words:
        advice = face_advice(float(plan.works.mound.berm_m[i]))
        yield _swale(plan, i, "trench_safety", "caution", words, advice)
    if wedge > plan.figures.sections[i].area_m2:
        yield _swale(
            plan,
            i,
            "mostly_hillside_cut",
            "caution",
            f"the wedge cut above the water, {wedge:.2f} m² per metre, is more than the "
            f"water's own {plan.figures.sections[i].area_m2:.2f} m²",
            "a narrower base or a steeper batter cuts less of the hill",
        )
    if short > _SOME_M3:
        yield _swale(
            plan,
            i,
            "spoil_short",
            "note",
            f"the mound lacks {short:.1f} m³ of spoil",
            "bring soil from a swale with more than it needs",
        )
    if surplus > _SOME_M3:
        yield _swale(
            plan,
            i,
            "spoil_left_over",
            "note",
            f"{surplus:.1f} m³ of spoil find no room on the mound",
            "spread it thinly on flat ground clear of the ways of water",
        )
    own = plan.outlets.sills[i]
    length = float(plan.figures.sill_length_m[i])
    head = float(plan.figures.check_head_m[i])
    if own and length > plan.figures.length_m[i] / 4.0:
        yield _swale(
            plan,
            i,
            "sill_too_long",
            "caution",
            f"{length:.1f} m of sill take more than a quarter of the lip's "
            f"{plan.figures.length_m[i]:.0f} m",
            "a shorter chain above, an end of its own, or a wider section would need less",
        )
    if own and head > plan.run.overflow.sill_head_m + _SAME_HEAD_M:
        wanted = length * (head / plan.run.overflow.sill_head_m) ** 1.5
        yield _swale(
            plan,
            i,
            "sill_short",
            "caution",
            f"{length:.1f} m of sill found room where {wanted:.1f} m (at most {LONGEST_SILL_M:g} m "
            "each) are wanted: the rest of the lip is taken, its ground is not fit for a sill, or "
            f"no way leads down from it. The head rises to {head:.2f} m and the mound with it",
            "have the spillway designed on site; a shorter chain above or a wider section needs "
            "less",
        )
    for number, sill in enumerate(sorted(own, key=lambda one: one.start_m)):
        if sill.way.stretch.cut_in:
            yield Finding(
                "sill_cut_in",
                "caution",
                "spillways",
                spillway_id(plan.placed.lines[i].swale_id, number),
                "ground stands up to 0.15 m over the sill: it is cut through to where ground is at "
                "the level again",
                "dig the sill last, to the lowest lip found, and protect the cut",
            )
