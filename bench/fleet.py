"""Two hundred small properties, five of them broken, and a worker killed midway.

python bench/fleet.py            # prints what became of them and how long it took
python bench/fleet.py --count 20 --broken 2
"""

import argparse
import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import psutil

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from tests.fleet.farms import break_farm, write_farms, write_list  # noqa: E402


def main() -> None:
    """Make the properties, plan them, kill a worker, plan them again; print figures as JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--broken", type=int, default=5)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="soakline-fleet-") as made:
        folder = Path(made)
        farms = write_farms(folder, asked.count)
        for k in range(asked.broken):
            break_farm(farms[k * asked.count // asked.broken], k)
        file = write_list(folder, backoff_s=1.0)
        first, killed = _fleet(file, kill_after=asked.count // 4)
        again, _ = _fleet(file, kill_after=None)
    print(json.dumps({"worker_killed": killed, "first": first, "again": again}, indent=2))


def _fleet(file: Path, kill_after: int | None) -> tuple[dict[str, object], int | None]:
    """Run the command; kill a worker once so many properties have ended."""
    began = time.perf_counter()
    command = [sys.executable, "-m", "soakline", "fleet", str(file), "--json"]
    killed = None
    # The summary of 200 is more than a pipe holds: to a file, or nobody would end.
    with (
        tempfile.TemporaryFile("w+") as out,
        subprocess.Popen(command, stdout=out, stderr=subprocess.PIPE, text=True) as fleet,
    ):
        assert fleet.stderr is not None  # noqa: S101
        for line in fleet.stderr:
            print(line, end="", file=sys.stderr)
            # A property without a plan is told with "error: " before it.
            if line.removeprefix("error: ").startswith(f"{kill_after} of "):
                killed = kill_a_worker(fleet.pid)
        fleet.wait()
        out.seek(0)
        facts = json.load(out)
    rows = facts["properties"]
    return {
        "exit_status": fleet.wait(),
        "seconds": round(time.perf_counter() - began, 1),
        "counts": facts["counts"],
        "kept": sum(row["kept"] for row in rows),
        "tried_again": [row["property_id"] for row in rows if row["attempts"] > 1],
        "messages": {r["property_id"]: r["message"] for r in rows if r["message"]},
        "totals": facts["totals"],
    }, killed


def kill_a_worker(fleet: int) -> int | None:
    """Kill one worker of a fleet's own cluster, the busiest; its id, or None if there was none."""
    workers = [
        child
        for child in psutil.Process(fleet).children(recursive=True)
        if "spawn_main" in " ".join(child.cmdline())
    ]
    if not workers:
        return None
    busiest = max(workers, key=lambda worker: sum(worker.cpu_times()[:2]))
    os.kill(busiest.pid, signal.SIGKILL)
    return busiest.pid


if __name__ == "__main__":
    main()
