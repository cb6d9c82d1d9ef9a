"""Measures whole runs: `python bench/bench.py [--sides 1000 2000 5000 10000]`, or `make bench`.

For each side it makes a terrain in a temporary folder, runs `soakline plan` on it as a process of
its own, and prints wall time, CPU, peak memory and ns per cell of each stage, beside the time that
kernels of general libraries alone take on the same terrain (richdem: fill with gradient, D8 and
accumulation, slope; pyflwdir: fill, order, accumulation) and beside a copy in memory. Then the
same property again with a tenth more rain, from the stage store. Once for all sides: the
demonstration, as a process too; 2,000 swales through 14 storms, then through 30 years of days; and
a million trees. A small run comes first, so that compiled code is in its cache. A row for each
side is added to bench/trend.json; `--json FILE` writes those of this run alone.

Figures of a machine that does other work at the same time mean little: look at the load it prints.
Budgets were set for a machine on which the raw kernels take 276 ns per cell: beside each time
stands what it would be at that pace.
"""

import argparse
import json
import os
import sys
import tempfile
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path

from measuring import (
    HERE,
    machine,
    make_terrain,
    measure,
    more_rain,
    plan,
    recorded,
    stage_seconds,
)
from trend import Row, append

from report import growth, report, report_of_parts
from soakline import __version__

DEMO = HERE.parent / "fixtures" / "demo" / "demo.toml"
SIDES = (1000, 2000, 5000, 10_000)
"""1, 4, 25 and 100 million cells."""
WARM_SIDE = 500


@dataclass(frozen=True, slots=True)
class Parts:
    """Figures that do not depend on the size of the terrain: times in s, memory in GiB."""

    routing_s: float
    years_s: float
    planting_s: float
    planting_gib: float
    trees: int
    demo_s: float
    demo_gib: float


def bench_parts(folder: Path) -> Parts:
    """Plan the demonstration; route storms, follow years and plant as scripts of their own."""
    print("planning the demonstration", flush=True)
    demo = plan(DEMO, folder, "--fresh")
    print("routing storms", flush=True)
    routing = json.loads(measure([sys.executable, str(HERE / "routing.py")]).output)
    print("following the years", flush=True)
    years = json.loads(measure([sys.executable, str(HERE / "years.py")]).output)
    print("planting", flush=True)
    planted = measure([sys.executable, str(HERE / "planting.py")])
    planting = json.loads(planted.output)
    return Parts(
        routing_s=round(routing["seconds"], 2),
        years_s=round(years["seconds"], 2),
        planting_s=round(planting["seconds"], 2),
        planting_gib=round(planted.gib, 3),
        trees=planting["trees"],
        demo_s=round(demo.wall_s, 2),
        demo_gib=round(demo.gib, 3),
    )


def bench(side: int, folder: Path, parts: Parts) -> Row:
    """Make a terrain, plan it, time the raw kernels on it.

    Parameters
    ----------
    side : cells along each side
    folder : scratch, whose compiled code is warm
    parts : of the same run
    """
    print(f"making {side} × {side} cells of 1 m", flush=True)
    run_file = make_terrain(folder / f"side{side}", side)
    load = os.getloadavg()[0]
    print("planning", flush=True)
    log = folder / "run.jsonl"
    log.unlink(missing_ok=True)
    whole = plan(run_file, folder, "--fresh", "--log", str(log))
    print("planning again with more rain", flush=True)
    rain = more_rain(run_file.parent / "rain.csv", folder / "more.csv")
    again = plan(run_file, folder, "--rain", str(rain))
    copied_s = float(recorded(folder / "run.gpkg", "timing_copying rasters_s"))
    print("timing the raw kernels", flush=True)
    dem = str(run_file.parent / "dem.tif")
    raw = {
        library: json.loads(
            measure([sys.executable, str(HERE / "raw_kernels.py"), dem, library]).output
        )
        for library in ("richdem", "pyflwdir", "copy")
    }
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
        raw_ns=per_cell(raw["richdem"]),
        times_raw=round(whole.wall_s / sum(raw["richdem"].values()), 2),
        rerun_s=round(again.wall_s, 2),
        rerun_cpu_s=round(again.cpu_s, 2),
        rerun_copy_s=round(copied_s, 2),
        **asdict(parts),
        machine=machine(),
        cpu_s=round(whole.cpu_s, 2),
        pyflwdir_ns=per_cell(raw["pyflwdir"]),
        copy_ns=per_cell(raw["copy"])["copy"],
    )


def main() -> None:
    """Read the command line, measure, print, add to the trend."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--sides", "--side", type=int, nargs="+", default=SIDES,
                        help="cells along each side of a terrain, one or several")  # fmt: skip
    parser.add_argument("--dry", action="store_true", help="add nothing to the trend")
    parser.add_argument("--json", type=Path, help="file for the rows of this run")
    chosen = parser.parse_args()
    rows = []
    with tempfile.TemporaryDirectory(prefix="soakline-bench-") as temporary:
        folder = Path(temporary)
        print("warming the cache of compiled code", flush=True)
        plan(make_terrain(folder / "small", WARM_SIDE), folder)
        # The demonstration has tracks, hollows and soils that made terrain has not.
        plan(DEMO, folder, "--fresh")
        parts = bench_parts(folder)
        for side in sorted(chosen.sides):
            with tempfile.TemporaryDirectory(dir=folder) as own:
                rows.append(bench(side, Path(own), parts))
            print(report(rows[-1]), flush=True)
            if not chosen.dry:
                append(rows[-1])
    print(report_of_parts(rows[0]))
    if len(rows) > 1:
        print(growth(rows))
    if chosen.json:
        chosen.json.write_text(json.dumps([asdict(row) for row in rows]), encoding="utf-8")


if __name__ == "__main__":
    main()
