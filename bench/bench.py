"""Measures whole runs: `python bench/bench.py [--side 5000]`, or `make bench`.

Makes a terrain in a temporary folder, runs `soakline plan` on it as a process of its own, and
prints wall time, peak memory and ns per cell of each stage, beside the time that the library
kernels alone take on the same terrain (fill with gradient, D8 and accumulation, slope). Then the
same property again with a tenth more rain, from the stage store; the demonstration, as a process
too; 2,000 swales through 14 storms, then through 30 years of days; and a million trees. A small run
comes first, so that compiled code is in its cache. One row is added to bench/trend.json.

Figures of a machine that does other work at the same time mean little: look at the load it prints.
Budgets were set for a machine on which the raw kernels take 276 ns per cell: beside each time
stands what it would be at that pace.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path

from soakline import __version__

HERE = Path(__file__).resolve().parent
DEMO = HERE.parent / "fixtures" / "demo" / "demo.toml"
TREND = HERE / "trend.json"
DEMO_BUDGET_S = 10.0
RERUN_BUDGET_S = {5000: 5.0, 10_000: 12.0}  # by side; elsewhere 4 s or 5 % of the cold run
ROUTING_BUDGET_S = 2.0
YEARS_BUDGET_S = 5.0
PLANTING_BUDGET_S, PLANTING_BUDGET_GIB = 20.0, 4.0
# What the raw kernels take on the machine that the budgets were set for, ns per cell.
PACE_RAW_NS = 276.0
WARM_SIDE = 500


@dataclass(frozen=True, slots=True)
class Budget:
    """What a run may take on two cores."""

    seconds: float
    gib: float


BUDGETS = {5000: Budget(60.0, 5.0), 10_000: Budget(240.0, 14.0)}  # by side: 25 and 100 M cells


@dataclass(frozen=True, slots=True)
class Measured:
    """One process that has ended.

    Parameters
    ----------
    status : exit status
    wall_s : from start to end, s
    gib : greatest resident memory, GiB
    output : what it printed
    """

    status: int
    wall_s: float
    gib: float
    output: str


def measure(command: list[str]) -> Measured:
    """Run a command to its end and measure it; what it says on stderr is shown if it fails."""
    with tempfile.TemporaryFile("w+") as out, tempfile.TemporaryFile("w+") as err:
        began = time.perf_counter()
        child = subprocess.Popen(command, stdout=out, stderr=err)
        # The child's own usage: RUSAGE_CHILDREN would give the largest of all children so far.
        _, wait_status, usage = os.wait4(child.pid, 0)
        wall_s = time.perf_counter() - began
        child.returncode = os.waitstatus_to_exitcode(wait_status)
        out.seek(0)
        err.seek(0)
        if child.returncode not in (0, 3):
            sys.exit(f"{' '.join(command)} ended with {child.returncode}:\n{err.read()}")
        return Measured(child.returncode, wall_s, usage.ru_maxrss / 2**20, out.read())


def plan(run_file: Path, folder: Path, *options: str) -> Measured:
    """Plan a run file as a whole process, into a folder."""
    out = folder / f"{run_file.stem}.gpkg"
    return measure(
        [sys.executable, "-m", "soakline", "plan", str(run_file), "--out", str(out), *options]
    )


def make_terrain(folder: Path, side: int) -> Path:
    """A run folder of side × side cells of 1 m; its run file."""
    measure([sys.executable, str(HERE / "make_terrain.py"), str(folder), "--side", str(side)])
    return folder / "run.toml"


def more_rain(table: Path, target: Path) -> Path:
    """A rain table with a tenth more in every cell."""
    head, *rows = [line for line in table.read_text().splitlines() if line[:1] not in ("#", "")]
    more = [
        ",".join([first, *(f"{1.1 * float(depth):.2f}" for depth in depths)])
        for first, *depths in (row.split(",") for row in rows)
    ]
    target.write_text("\n".join([head, *more]) + "\n")
    return target


def stage_seconds(log: Path) -> dict[str, float]:
    """Seconds by stage, in order, from a run's log."""
    events = [json.loads(line) for line in log.read_text(encoding="utf-8").splitlines()]
    return {e["stage"]: e["seconds"] for e in events if e["event"] == "finished"}


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the trend: times in s, memory in GiB, stages and kernels in ns per cell."""

    date: str
    version: str
    side: int
    cores: int
    load: float
    wall_s: float
    peak_gib: float
    stage_ns: dict[str, float]
    raw_ns: dict[str, float]
    times_raw: float
    rerun_s: float
    routing_s: float
    years_s: float
    planting_s: float
    planting_gib: float
    trees: int
    demo_s: float
    demo_gib: float


def bench(side: int) -> Row:
    """Make a terrain, plan it, time the raw kernels on it, plan the demonstration."""
    with tempfile.TemporaryDirectory(prefix="soakline-bench-") as temporary:
        folder = Path(temporary)
        print(f"making {side} × {side} cells of 1 m", flush=True)
        run_file = make_terrain(folder / "large", side)
        print("warming the cache of compiled code", flush=True)
        plan(make_terrain(folder / "small", WARM_SIDE), folder)
        plan(DEMO, folder)
        load = os.getloadavg()[0]
        print("planning", flush=True)
        log = folder / "run.jsonl"
        whole = plan(run_file, folder, "--log", str(log))
        print("planning again with more rain", flush=True)
        rain = more_rain(run_file.parent / "rain.csv", folder / "more.csv")
        again = plan(run_file, folder, "--rain", str(rain))
        print("planning the demonstration", flush=True)
        demo = plan(DEMO, folder, "--fresh")
        print("routing storms", flush=True)
        routing = json.loads(measure([sys.executable, str(HERE / "routing.py")]).output)
        print("following the years", flush=True)
        years = json.loads(measure([sys.executable, str(HERE / "years.py")]).output)
        print("planting", flush=True)
        planted = measure([sys.executable, str(HERE / "planting.py")])
        planting = json.loads(planted.output)
        print("timing the raw kernels", flush=True)
        kernels = [sys.executable, str(HERE / "raw_kernels.py"), str(run_file.parent / "dem.tif")]
        raw = json.loads(measure(kernels).output)
        cells = side * side

        def per_cell(seconds: dict[str, float]) -> dict[str, float]:
            return {name: round(1e9 * s / cells, 1) for name, s in seconds.items()}

        return Row(
            date=datetime.now(UTC).date().isoformat(),
            version=__version__,
            side=side,
            cores=os.cpu_count() or 0,
            load=round(load, 2),
            wall_s=round(whole.wall_s, 2),
            peak_gib=round(whole.gib, 3),
            stage_ns=per_cell(stage_seconds(log)),
            raw_ns=per_cell(raw),
            times_raw=round(whole.wall_s / sum(raw.values()), 2),
            rerun_s=round(again.wall_s, 2),
            routing_s=round(routing["seconds"], 2),
            years_s=round(years["seconds"], 2),
            planting_s=round(planting["seconds"], 2),
            planting_gib=round(planted.gib, 3),
            trees=planting["trees"],
            demo_s=round(demo.wall_s, 2),
            demo_gib=round(demo.gib, 3),
        )


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
    lines.append("  ns per cell by stage")
    lines += [f"    {name:<14}{ns:>9.1f}" for name, ns in row.stage_ns.items()]
    lines.append(f"    {'whole process':<14}{1e9 * row.wall_s / cells:>9.1f}")
    lines.append("  ns per cell, raw kernels of richdem")
    lines += [f"    {name:<14}{ns:>9.1f}" for name, ns in row.raw_ns.items()]
    lines.append(f"    {'together':<14}{sum(row.raw_ns.values()):>9.1f}")
    lines.append(f"  whole process: {row.times_raw} times the raw kernels (aim 5, then 3)")
    lines.append(f"  this machine takes {pace:.2f} times as long for them as the budgets' own")
    limit = RERUN_BUDGET_S.get(row.side, max(4.0, 0.05 * row.wall_s))
    lines.append("the same with a tenth more rain, whole process")
    lines.append(f"  wall        {_judged_time(row.rerun_s, limit, pace)}")
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


def append(row: Row) -> None:
    """Add a row to the trend, one line each."""
    rows = json.loads(TREND.read_text(encoding="utf-8")) if TREND.exists() else []
    rows.append(asdict(row))
    lines = ",\n".join(json.dumps(each) for each in rows)
    TREND.write_text(f"[\n{lines}\n]\n", encoding="utf-8")


def main() -> None:
    """Read the command line, measure, print, add to the trend."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--side", type=int, default=5000, help="cells along each side")
    parser.add_argument("--dry", action="store_true", help="add nothing to the trend")
    chosen = parser.parse_args()
    row = bench(chosen.side)
    print(report(row))
    if not chosen.dry:
        append(row)


if __name__ == "__main__":
    main()
