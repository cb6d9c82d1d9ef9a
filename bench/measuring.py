"""Runs whole processes of soakline and measures each."""

import json
import os
import sqlite3
import subprocess
import sys
import tempfile
import time
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).resolve().parent


@dataclass(frozen=True, slots=True)
class Measured:
    """One process that has ended.

    Parameters
    ----------
    status : exit status
    wall_s : from start to end, s
    cpu_s : of all its threads, user and system, s
    gib : greatest resident memory, GiB
    output : what it printed
    """

    status: int
    wall_s: float
    cpu_s: float
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
        cpu_s = usage.ru_utime + usage.ru_stime
        return Measured(child.returncode, wall_s, cpu_s, usage.ru_maxrss / 2**20, out.read())


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


def recorded(plan_file: Path, key: str) -> str:
    """What a finished plan's record says."""
    with closing(sqlite3.connect(plan_file)) as database:
        found = database.execute("SELECT value FROM run_record WHERE key = ?", (key,)).fetchone()
    return str(found[0])


def machine() -> str:
    """Processor, cores, memory and Python of this machine, in one line."""
    told = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    names = [line.partition(":")[2].strip() for line in told if line.startswith("model name")]
    memory_gib = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    processor = names[0] if names else "a processor without a name"
    version = ".".join(str(part) for part in sys.version_info[:3])
    return f"{processor}, {os.cpu_count()} cores, {memory_gib:.0f} GiB, Python {version}"
