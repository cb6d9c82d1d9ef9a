"""Kills runs at random moments, lets the next one go on, and holds its plan against a whole run's.

`python -m tests.long.kills --kills 70 --seed 1` kills the demonstration 70 times, `--side 2000` a
property of 4 million cells; figures are printed as JSON. Each case begins without a store and with
a stranger's file in the plan's place. It is killed one to three times, by SIGKILL or SIGTERM, then
left to end.
"""

import argparse
import hashlib
import json
import os
import random
import shutil
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import asdict, dataclass, field
from pathlib import Path

from tests.plans.content import content

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "fixtures" / "demo" / "demo.toml"
EARLIER = b"an earlier file, whatever it holds" * 100
AGAIN = 0.4
"""Share of kills after which the next run is killed too."""


@dataclass(frozen=True)
class Ended:
    """One run.

    Parameters
    ----------
    status : exit status; negative for a signal
    seconds : wall time
    stage : the last that had begun
    cautions : what the log tells of the store
    said : the end of what it told on stderr
    """

    status: int
    seconds: float
    stage: str
    cautions: tuple[str, ...]
    said: str


@dataclass
class Figures:
    """What a number of kills came to.

    Parameters
    ----------
    seed, cells : of the cases
    whole_s : wall time of a run without kills and without store, s
    kills : that hit a run
    by_signal, by_stage : their number
    ended_first : runs that were through before the kill came
    resumed_s : median wall time of the runs that were left to end, s
    faults : in words; none if all is well
    """

    seed: int
    cells: int
    whole_s: float
    kills: int = 0
    by_signal: dict[str, int] = field(default_factory=dict)
    by_stage: dict[str, int] = field(default_factory=dict)
    ended_first: int = 0
    resumed_s: float = 0.0
    faults: list[str] = field(default_factory=list)

    def count(self, name: str, stage: str) -> None:
        """Count a kill."""
        self.kills += 1
        self.by_signal[name] = self.by_signal.get(name, 0) + 1
        self.by_stage[stage] = self.by_stage.get(stage, 0) + 1
        print(f"{self.kills}: {name} in {stage}", file=sys.stderr)

    def blame(self, faults: list[str]) -> None:
        """Add faults, told at once."""
        self.faults += faults
        for fault in faults:
            print(f"fault: {fault}", file=sys.stderr)


def digests(plan: Path) -> dict[str, str]:
    """A digest for each table of a plan, feature order included, and for each file beside it."""
    tables = {
        name: hashlib.sha256(repr(rows).encode()).hexdigest()
        for name, rows in content(plan).items()
    }
    beside = {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(plan.parent.glob(f"{plan.stem}-*"))
    }
    return tables | beside


@dataclass(frozen=True)
class Runs:
    """Runs of one run file into a folder of their own.

    Parameters
    ----------
    run_file : what is planned
    folder : scratch of the test; the plan is made in `out` in it
    """

    run_file: Path
    folder: Path

    @property
    def out(self) -> Path:
        return self.folder / "out"

    @property
    def plan(self) -> Path:
        return self.out / "plan.gpkg"

    @property
    def temporary(self) -> Path:
        return self.folder / "tmp"

    def begin_anew(self) -> None:
        """Take away what earlier runs have left; a stranger's file is where the plan goes."""
        for path in (self.out, self.temporary):
            shutil.rmtree(path, ignore_errors=True)
            path.mkdir()
        self.plan.write_bytes(EARLIER)

    def run(self, killed_by: int = 0, after_s: float = 0.0) -> Ended:
        """Run the command to its end, or until it is killed."""
        log = self.folder / "log.jsonl"
        log.unlink(missing_ok=True)
        command = ["plan", str(self.run_file), "--out", str(self.plan), "--log", str(log)]
        began = time.monotonic()
        words = self.folder / "stderr"
        with (
            words.open("wb") as stderr,
            subprocess.Popen(
                [sys.executable, "-m", "soakline", *command, "--quiet"],
                stdout=subprocess.DEVNULL,
                stderr=stderr,
                env={**os.environ, "TMPDIR": str(self.temporary)},
            ) as run,
        ):
            if killed_by:
                try:
                    run.wait(after_s)
                except subprocess.TimeoutExpired:
                    run.send_signal(killed_by)
            status = run.wait()
        seconds = time.monotonic() - began
        told = _events(log)
        begun = [event["stage"] for event in told if event["event"] == "started"]
        cautions = [e["message"] for e in told if e.get("level") == "caution" and "kept" in str(e)]
        said = words.read_text(encoding="utf-8", errors="replace")[-300:]
        return Ended(status, seconds, begun[-1] if begun else "loading", tuple(cautions), said)

    def hidden(self) -> set[str]:
        """Files of runs that are at work, or were killed."""
        return {path.name for path in self.out.glob(".*") if path.name != ".soakline"}

    def left(self) -> list[str]:
        """Files that no run has a use for once the last one has ended."""
        found = sorted(self.hidden())
        found += [path.name for path in (self.out / ".soakline").glob(".*")]
        return found + [path.name for path in self.temporary.iterdir()]


def _events(log: Path) -> list[dict[str, str]]:
    """Whole lines of a log that may have been cut short."""
    lines = log.read_text(encoding="utf-8").split("\n")[:-1] if log.exists() else []
    return [json.loads(line) for line in lines]


def killed_runs(runs: Runs, kills: int, seed: int, cells: int) -> Figures:
    """Kill runs until so many kills have hit one; compare what they end with.

    Parameters
    ----------
    runs : Runs
    kills : number
    seed : of moments and signals
    cells : for the figures
    """
    chance = random.Random(seed)
    runs.begin_anew()
    runs.run()  # compiled code goes into its cache
    runs.begin_anew()
    whole = runs.run()
    assert whole.status in (0, 3), whole
    expected = digests(runs.plan)
    figures = Figures(seed, cells, round(whole.seconds, 2))
    resumed = []
    while figures.kills < kills:
        runs.begin_anew()
        longest_s = whole.seconds
        while True:
            number = chance.choice((signal.SIGKILL, signal.SIGTERM))
            hidden = runs.hidden()
            ended = runs.run(number, chance.uniform(0.0, longest_s))
            if ended.status in (0, 3):
                figures.ended_first += 1
                break
            figures.count(signal.Signals(number).name, ended.stage)
            figures.blame(_faults_of_kill(runs, ended, number, expected, hidden))
            if figures.kills == kills or chance.random() > AGAIN:
                break
        last = runs.run()
        resumed.append(last.seconds)
        figures.blame(_faults_of_end(runs, last, whole.status, expected, figures.kills))
    figures.resumed_s = round(statistics.median(resumed), 2)
    return figures


def _faults_of_kill(
    runs: Runs, ended: Ended, number: int, expected: dict[str, str], hidden: set[str]
) -> list[str]:
    """What is wrong once a kill has hit; `hidden` was left by a SIGKILL before."""
    faults = []
    # SIGTERM before Python has set its handler ends a process as SIGKILL does.
    if ended.status not in ((-9,) if number == signal.SIGKILL else (143, -15)):
        faults.append(f"{number} in {ended.stage}: exit status {ended.status}: {ended.said}")
    if runs.plan.read_bytes() != EARLIER:
        found = digests(runs.plan)  # it must be the whole plan, then; rasters may come after it
        tables = {name for name in expected if not name.startswith("plan-")}
        if any(found.get(name) != expected[name] for name in tables):
            faults.append(f"{number} in {ended.stage}: the earlier plan was touched")
    if ended.status == 143:
        left = sorted(runs.hidden() - hidden)
        faults += [f"SIGTERM in {ended.stage} leaves {name}" for name in left]
    return faults


def _faults_of_end(
    runs: Runs, last: Ended, status: int, expected: dict[str, str], kill: int
) -> list[str]:
    faults = [f"after kill {kill}: {said}" for said in last.cautions]
    if last.status != status:
        return [*faults, f"after kill {kill}: exit status {last.status}: {last.said}"]
    found = digests(runs.plan)
    differ = sorted(n for n in found.keys() | expected.keys() if found.get(n) != expected.get(n))
    faults += [f"after kill {kill}: {name} differs" for name in differ]
    return faults + [f"after kill {kill}: {name} is left" for name in runs.left()]


def large_run(folder: Path, side: int) -> Path:
    """A run folder of side × side cells of 1 m, as the benchmark has it; its run file."""
    script = ROOT / "bench" / "make_terrain.py"
    command = [sys.executable, str(script), str(folder), "--side", str(side)]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return folder / "run.toml"


def main() -> int:
    """Run from the command line; status 1 if there was a fault."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=70)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--side", type=int, default=0, help="0: the demonstration")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="soakline-kills-") as name:
        folder = Path(name)
        run_file = large_run(folder / "large", asked.side) if asked.side else DEMO
        figures = killed_runs(Runs(run_file, folder), asked.kills, asked.seed, asked.side**2)
    print(json.dumps(asdict(figures), indent=2))
    return int(bool(figures.faults))


if __name__ == "__main__":
    sys.exit(main())
