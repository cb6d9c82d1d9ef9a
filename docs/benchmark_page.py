"""The page of benchmarks, from the last rows of bench/trend.json."""

import json
from pathlib import Path
from typing import Any

TREND = Path(__file__).resolve().parents[1] / "bench" / "trend.json"

LIMITS = {
    "reading": "the disk, and the checksum of every input (SHA-256)",
    "terrain": "the priority flood: one core, a heap in an order that no cache foresees; slope, "
    "smoothing and directions use both cores and wait for memory",
    "excluded ground": "burning setbacks into cells and outlining what is left, on one core; steep "
    "ground is followed down the flow path",
    "storms": "nothing: it does not depend on the cells",
    "lines": "contours of every level and their lips, on two cores; then catchments, a pass down "
    "the directions on one",
    "water": "routing of each swale in each storm, and the sizing that repeats it; by swales, not "
    "by cells",
    "overflow": "routes followed cell by cell; few of them",
    "sections": "earthworks and trees along each lip; by length of lip",
    "years": "a step a day for each swale; by swales and years",
    "layers": "outlines of catchments and building of tables, on one core",
    "layers of the land": "the wait for a copy of the process that outlines slope classes and "
    "deflates rasters beside the stages before",
    "map": "drawing, at the resolution of the picture",
    "writing": "the disk: rows are inserted, rasters copied as they are, and all is flushed",
}
"""What holds each stage up."""


def last_run() -> list[dict[str, Any]]:
    """The rows of the newest run: those of the last date, the last of each side."""
    rows = json.loads(TREND.read_text(encoding="utf-8"))
    by_side = {row["side"]: row for row in rows if row["date"] == rows[-1]["date"]}
    return [by_side[side] for side in sorted(by_side)]


def millions(row: dict[str, Any]) -> str:
    """Cells as a heading: `25 M`."""
    return f"{row['side'] ** 2 / 1e6:g} M"


def body() -> list[str]:
    """The lines of the page below its title."""
    rows = last_run()
    row = rows[-1]
    machine = row.get("machine", f"{row['cores']} cores, processor not recorded")
    heads = [millions(each) for each in rows]
    return [
        "## Figures",
        "",
        (
            f"Measured on {row['date']}, version {row['version']}: {machine}; load before the run "
            f"{row['load']} (0 is an idle machine: a load makes all times longer)."
        ),
        "",
        *_table(["cells", *heads], _whole(rows)),
        "",
        "## Stages, ns per cell, and what limits each",
        "",
        *_table(["stage", *heads, "limited by"], _stages(rows)),
        "",
        "## Beside general libraries, ns per cell",
        "",
        "The same terrain, the same run, one core, reading and compiling left out.",
        "",
        *_table(["kernel", *heads], _kernels(rows)),
        "",
        (
            f"The whole plan at {heads[-1]} cells takes {row['times_raw']} times the three kernels "
            "of richdem together (3 is the aim)."
        ),
    ]


def _table(heads: list[str], rows: list[list[str]]) -> list[str]:
    lines = [heads, ["---"] * len(heads), *rows]
    return ["| " + " | ".join(line) + " |" for line in lines]


def _figure(figures: dict[str, Any], key: str, unit: str = "") -> str:
    return f"{figures[key]:g} {unit}".strip() if key in figures else "not measured"


def _whole(rows: list[dict[str, Any]]) -> list[list[str]]:
    told = (
        ("whole process, cold", "wall_s", "s"),
        ("CPU of it", "cpu_s", "s"),
        ("peak memory", "peak_gib", "GiB"),
        ("again with a tenth more rain", "rerun_s", "s"),
        ("CPU of it", "rerun_cpu_s", "s"),
        ("rasters copied in it, beside the stages", "rerun_copy_s", "s"),
        ("2,000 swales, 14 storms, routed", "routing_s", "s"),
        ("2,000 swales, 30 years of days", "years_s", "s"),
        ("a million trees placed, with shade", "planting_s", "s"),
        ("demonstration, whole process", "demo_s", "s"),
    )
    return [
        [name, *(_figure(row, key, unit) for row in rows)]
        for name, key, unit in told
        if any(key in row for row in rows)
    ]


def _stages(rows: list[dict[str, Any]]) -> list[list[str]]:
    stages = [name for name in rows[-1]["stage_ns"] if name in LIMITS]
    return [
        [name, *(_figure(row["stage_ns"], name) for row in rows), LIMITS[name]] for name in stages
    ]


def _kernels(rows: list[dict[str, Any]]) -> list[list[str]]:
    found = []
    for library, key in (("richdem", "raw_ns"), ("pyflwdir", "pyflwdir_ns")):
        found += [
            [f"{library}, {name}", *(_figure(row.get(key, {}), name) for row in rows)]
            for name in rows[-1].get(key, {})
        ]
    if "copy_ns" in rows[-1]:
        copies = (_figure(row, "copy_ns") for row in rows)
        found.append(["copy in memory, float64", *copies])
    return found
