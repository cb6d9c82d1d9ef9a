"""Tells the figures of a benchmark, budgets beside."""

from dataclasses import dataclass

import numpy as np
from trend import Row

DEMO_BUDGET_S = 10.0
RERUN_BUDGET_S = {5000: 5.0}  # by side; elsewhere 4 s or 5 % of the cold run
ROUTING_BUDGET_S = 2.0
YEARS_BUDGET_S = 5.0
PLANTING_BUDGET_S, PLANTING_BUDGET_GIB = 20.0, 4.0
# What the raw kernels take on the machine that the budgets were set for, ns per cell.
PACE_RAW_NS = 276.0


@dataclass(frozen=True, slots=True)
class Budget:
    """What a run may take on two cores."""

    seconds: float
    gib: float


BUDGETS = {5000: Budget(60.0, 5.0), 10_000: Budget(240.0, 14.0)}  # by side: 25 and 100 M cells


def _judged(found: float, budget: float, unit: str) -> str:
    verdict = "pass" if found < budget else "FAIL"
    return f"{found:.2f} {unit}   budget {budget:g} {unit}: {verdict}"


def _judged_time(found_s: float, budget_s: float, pace: float) -> str:
    """A time as measured, and at the pace of the machine that the budgets were set for."""
    paced = found_s / pace
    verdict = "pass" if paced < budget_s else "FAIL"
    return f"{_judged(found_s, budget_s, 's')}   at the budgets' pace {paced:.2f} s: {verdict}"


def report(row: Row) -> str:
    """The row as a table to read, budgets beside."""
    cells = row.side**2
    pace = sum(row.raw_ns.values()) / PACE_RAW_NS
    budget = BUDGETS.get(row.side)
    lines = [
        f"\n{cells / 1e6:.2f} million cells, {row.cores} cores, load {row.load} before the run"
    ]
    if budget is None:
        lines += [
            f"  wall        {row.wall_s:.2f} s   no budget at this size",
            f"  peak memory {row.peak_gib:.2f} GiB",
        ]
    else:
        lines += [
            f"  wall        {_judged_time(row.wall_s, budget.seconds, pace)}",
            f"  peak memory {_judged(row.peak_gib, budget.gib, 'GiB')}",
        ]
    lines.append(f"  CPU         {row.cpu_s:.2f} s, {row.cpu_s / row.wall_s:.2f} cores busy")
    lines.append("  ns per cell by stage")
    lines += [f"    {name:<14}{ns:>9.1f}" for name, ns in row.stage_ns.items()]
    lines.append(f"    {'whole process':<14}{1e9 * row.wall_s / cells:>9.1f}")
    lines.append("  ns per cell, raw kernels of richdem")
    lines += [f"    {name:<14}{ns:>9.1f}" for name, ns in row.raw_ns.items()]
    lines.append(f"    {'together':<14}{sum(row.raw_ns.values()):>9.1f}")
    lines.append("  ns per cell, raw kernels of pyflwdir")
    lines += [f"    {name:<14}{ns:>9.1f}" for name, ns in row.pyflwdir_ns.items()]
    lines.append(f"    {'together':<14}{sum(row.pyflwdir_ns.values()):>9.1f}")
    lines.append(f"  ns per cell, copy of float64{row.copy_ns:>5.1f}")
    lines.append(f"  whole process: {row.times_raw} times the raw kernels (aim 5, then 3)")
    lines.append(f"  this machine takes {pace:.2f} times as long for them as the budgets' own")
    limit = RERUN_BUDGET_S.get(row.side, max(4.0, 0.05 * row.wall_s))
    lines.append("the same with a tenth more rain, whole process")
    lines.append(f"  wall        {_judged_time(row.rerun_s, limit, pace)}")
    lines.append(f"  CPU         {row.rerun_cpu_s:.2f} s")
    lines.append(f"  rasters copied in {row.rerun_copy_s:.2f} s, beside the stages")
    return "\n".join(lines)


def report_of_parts(row: Row) -> str:
    """What does not depend on the size of the terrain, as a table to read."""
    pace = sum(row.raw_ns.values()) / PACE_RAW_NS
    lines = []
    lines.append("2,000 swales, 14 storms, routed")
    lines.append(f"  wall        {_judged_time(row.routing_s, ROUTING_BUDGET_S, pace)}")
    lines.append("2,000 swales, 30 years of days, followed")
    lines.append(f"  wall        {_judged_time(row.years_s, YEARS_BUDGET_S, pace)}")
    lines.append(f"{row.trees:,} trees, placed and their shade reckoned")
    lines.append(f"  wall        {_judged_time(row.planting_s, PLANTING_BUDGET_S, pace)}")
    lines.append(f"  peak memory {_judged(row.planting_gib, PLANTING_BUDGET_GIB, 'GiB')}")
    lines.append("demonstration, whole process")
    lines.append(f"  wall        {_judged_time(row.demo_s, DEMO_BUDGET_S, pace)}")
    lines.append(f"  peak memory {row.demo_gib:.2f} GiB")
    return "\n".join(lines)


def growth(rows: list[Row]) -> str:
    """How wall time and memory grow with the cells: the slopes of straight lines in logarithms."""
    cells = np.log([row.cells for row in rows])
    time, memory = (
        np.polyfit(cells, np.log(figures), 1)[0]
        for figures in ([row.wall_s for row in rows], [row.peak_gib for row in rows])
    )
    aim = "at most 1.10"
    return f"log-log slope against cells: wall {time:.2f} ({aim}), peak memory {memory:.2f}"
