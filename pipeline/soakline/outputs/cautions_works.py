"""Findings on the works: what the machine cannot do, what costs leave out, unsafe phases."""

from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from soakline.findings import Finding, Severity
from soakline.outputs.designed import Designed
from soakline.outputs.programme import Programme
from soakline.section.stations import IntArray
from soakline.siting.bends import tight_bends
from soakline.works.phases import fed_later, runs_into_later

_NAMED_SWALES = 6


def works_findings(plan: Designed, programme: Programme) -> Iterator[Finding]:
    """What is to be said of machine, rates and phases."""
    if plan.figures.level_m.size == 0:
        return
    yield from _on_machine(plan, programme)
    yield from _on_rates(programme)
    yield from _on_phases(plan, programme)


def _swale(
    plan: Designed, i: int, code: str, severity: Severity, message: str, advice: str
) -> Finding:
    return Finding(code, severity, "swales", plan.placed.lines[i].swale_id, message, advice)


def _on_machine(plan: Designed, programme: Programme) -> Iterator[Finding]:
    machine = plan.inputs.works.machine
    yield Finding(
        "machine_hours_rough",
        "note",
        "quantities",
        "",
        f"{programme.hours.sum():.0f} h of {machine.name} at the output of its table (source: "
        f"{machine.source}): digging and heaping alone, without moving, rain, rock, roots or "
        "trimming the lip by hand",
        "ask whoever will dig for an output on this ground; put it into a table of your own "
        "(earthworks.machines)",
    )
    radius = machine.bend_radius_m(plan.run.siting.min_bend_radius_m)
    for i, line in enumerate(plan.placed.lines):
        bends = tight_bends(line.coordinates, radius)
        if bends.count:
            many = "1 bend" if bends.count == 1 else f"{bends.count} bends"
            yield _swale(
                plan,
                i,
                "bend_too_tight",
                "note",
                f"{many} over {bends.length_m:.0f} m of lip tighter than "
                f"{radius:g} m radius, the tightest {bends.radius_m:.1f} m at "
                f"{bends.along_m:.0f} m along: the ground tolerance allows no wider ones",
                "dig these bends in short steps or by hand, end the swale before them, or allow a "
                "larger siting.ground_tolerance_m",
            )
    footprint, figures = plan.works.footprint, plan.figures
    dug_m = (shapely.area(footprint.ponded) + shapely.area(footprint.cut_slope)) / figures.length_m
    for i, section in enumerate(figures.sections):
        if plan.placed.lines[i].state == "built":
            continue
        face = float(plan.works.volumes.face_height_m[i])
        narrowest = machine.bucket_widths_m[0]
        short = []
        if section.base_width_m < narrowest:
            short.append(
                f"its narrowest bucket, {narrowest:g} m, is wider than the base of "
                f"{section.base_width_m:g} m"
            )
        if face > machine.dig_depth_m:
            short.append(f"it digs {machine.dig_depth_m:g} m deep, the face is {face:.2f} m high")
        if dug_m[i] > machine.reach_m:
            short.append(f"it reaches {machine.reach_m:g} m, {dug_m[i]:.1f} m across are dug")
        if short:
            yield _swale(
                plan,
                i,
                "machine_unfit",
                "caution",
                f"{machine.name} cannot dig this section from the lip: {'; '.join(short)}",
                "choose another machine or another section; let nobody work below a face that "
                "local rules want supported",
            )


def _on_rates(programme: Programme) -> Iterator[Finding]:
    bill = programme.bill
    if bill.rates is not None and bill.unpriced:
        yield Finding(
            "rates_missing",
            "note",
            "quantities",
            "",
            f"no rate is given for: {'; '.join(bill.unpriced)}. Costs leave these out",
            "leave the rate of what is paid for with something else empty (either cut or machine "
            "hours, say), and give all others",
        )


def _names(plan: Designed, swales: Sequence[int]) -> str:
    named = ", ".join(plan.placed.lines[own].swale_id for own in swales[:_NAMED_SWALES])
    more = len(swales) - _NAMED_SWALES
    return f"{named} and {more} more" if more > 0 else named


def _phases(phase: IntArray) -> str:
    first, last = int(phase.min()), int(phase.max())
    return f"phase {first}" if first == last else f"phases {first} to {last}"


def _on_phases(plan: Designed, programme: Programme) -> Iterator[Finding]:
    phase = programme.phase
    if phase is None:
        return
    for i in np.flatnonzero(~programme.sound & (phase > 0)).tolist():
        yield _swale(
            plan,
            i,
            "phase_without_safe_end",
            "stop",
            f"phase {phase[i]} is not safe: the overflow of this swale reaches no safe end, in "
            "whatever order swales are dug",
            "leave this phase undug until a safe end is agreed; the phases before it do not need "
            "it. Ask a licensed engineer",
        )
    for i, below in runs_into_later(plan.outlets.chain, phase).items():
        if phase[i] == 0 or not programme.sound[i]:  # built, or told above
            continue
        yield _swale(
            plan,
            i,
            "phase_without_safe_end",
            "stop",
            f"phase {phase[i]} is not safe on its own: the overflow of this swale runs into "
            f"{_names(plan, below)}, dug in {_phases(phase[below])}",
            "dig what it spills into in the same phase or before it, from the lowest up",
        )
    heavy = (programme.limit > 0.0) & (programme.weight > programme.limit * (1.0 + 1e-9))
    for i in np.flatnonzero(heavy).tolist():
        yield _swale(
            plan,
            i,
            "phase_over_limit",
            "caution",
            f"takes {programme.weight[i]:.4g} {programme.limit_unit}, over the "
            f"{programme.limit:.4g} of a phase: phase {phase[i]} is this swale alone",
            "raise the limit, or let shorter swales be laid (siting.max_length_m)",
        )
    for i, above in fed_later(plan.outlets.chain, phase, programme.uphill).items():
        if phase[i] == 0:  # built: as it is today
            continue
        last = max(int(phase[other]) for other in above)
        yield _swale(
            plan,
            i,
            "phase_before_those_above",
            "caution",
            f"dug in phase {phase[i]}, before {_names(plan, above)}, whose ground sheds its water "
            f"unheld until phase {last}: more may come than capacity, sill and mound are sized for",
            "have sill and mound checked for that time by a licensed engineer, or raise the limit "
            "of a phase so that the whole chain fits",
        )
