"""Spoils the files of a run and of a finished plan, many times, and tells what did not stand it.

`python -m tests.hostile.fuzz --count 2000 --seed 1` gives the files to the readers; with `--how
run` to the commands, each in a copy of a loaded process, every Nth (`--anew N`) in one started
anew, as a user does.
"""

import argparse
import os
import random
import resource
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from soakline.outputs.columns import LAYERS
from tests.hostile.folder import FILES, make_folder
from tests.hostile.mutations import MUTATIONS

LONGEST_S = 90
MOST_BYTES = 4 * 2**30
PLANNED = 0.3
"""Share of spoilt inputs that are planned and not only checked."""
MADE = "made.gpkg"
WORDS = ("Traceback", "defect of ours", "Warning", "ERROR ")


@dataclass(frozen=True)
class Case:
    """One mutation and what came of it.

    Parameters
    ----------
    number : with the seed it gives the same case again
    file, mutation : what was spoilt, and how
    command : what was run on it
    status : exit status; negative for a signal
    fault : in words; empty if the program did as it should
    """

    number: int
    file: str
    mutation: str
    command: str
    status: int
    fault: str


def spoilt(good: Path, folder: Path, seed: int, number: int) -> tuple[str, str, list[str]]:
    """Copy the good folder and spoil one file: its name, the mutation, the command to run."""
    chance = random.Random(f"{seed}-{number}")
    name = FILES[number % len(FILES)]
    folder.mkdir()
    for source in good.iterdir():
        if source.name == name:
            shutil.copy(source, folder / name)
        else:
            os.link(source, folder / source.name)
    mutation = chance.choice(MUTATIONS[Path(name).suffix])
    mutation(folder / name, chance)
    command = ["check", "run.toml"]
    if chance.random() < PLANNED:
        command = ["plan", "run.toml", "--out", MADE]
    if name == "plan.gpkg":
        command = chance.choice(
            (
                ["compare", "plan.gpkg", "good.gpkg", "--csv"],
                ["compare", "good.gpkg", "plan.gpkg"],
                ["setout", "plan.gpkg", "--out", "out", "--format", "csv", "--format", "gpx",
                 "--format", "dxf", "--format", "landxml", "--format", "ground"],
            )
        )  # fmt: skip
    return name, mutation.__name__, command


def held(folder: Path) -> dict[str, bytes]:
    """All files of a folder."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def forked(folder: Path, command: list[str], out: Path, err: Path) -> int:
    """Run the program in a copy of this process, with its libraries loaded: its exit status."""
    child = os.fork()
    if child == 0:
        status = 99
        try:
            os.chdir(folder)
            resource.setrlimit(resource.RLIMIT_DATA, (MOST_BYTES, MOST_BYTES))
            signal.signal(signal.SIGALRM, signal.SIG_DFL)
            signal.alarm(LONGEST_S)
            for number, path in ((1, out), (2, err)):
                os.dup2(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC), number)
            sys.stdout, sys.stderr = os.fdopen(1, "w"), os.fdopen(2, "w")
            sys.argv = ["soakline", *command]
            from soakline.command.app import main  # noqa: PLC0415

            try:
                main()
                status = 0
            except SystemExit as end:
                status = int(end.code or 0)
            sys.stdout.flush()
            sys.stderr.flush()
        finally:
            os._exit(status)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def anew(folder: Path, command: list[str], out: Path, err: Path) -> int:
    """Run the program as a user does: its exit status."""
    with out.open("wb") as stdout, err.open("wb") as stderr:
        ran = subprocess.run(
            [sys.executable, "-m", "soakline", *command],
            cwd=folder, stdout=stdout, stderr=stderr, timeout=3 * LONGEST_S, check=False,
        )  # fmt: skip
    return ran.returncode


def run_cases(good: Path, numbers: range, seed: int, anew_every: int = 0) -> Iterator[Case]:
    """Spoil and run, one case after another."""
    with tempfile.TemporaryDirectory() as scratch:
        folder, out, err = (Path(scratch) / name for name in ("run", "out", "err"))
        for number in numbers:
            name, mutation, command = spoilt(good, folder, seed, number)
            before = held(folder)
            began = time.monotonic()
            start_anew = anew_every and number % anew_every == 0
            status = (anew if start_anew else forked)(folder, command, out, err)
            took_s = time.monotonic() - began
            words = err.read_text(encoding="utf-8", errors="replace")
            fault = fault_of(status, words, before, held(folder), took_s)
            if not fault and command[0] == "plan" and status != 2:
                fault = fault_of_plan(folder / MADE)
            shutil.rmtree(folder)
            yield Case(number, name, mutation, command[0], status, fault)


def fault_of(
    status: int, words: str, before: dict[str, bytes], after: dict[str, bytes], took_s: float
) -> str:
    """What is wrong with how a run ended; empty if nothing is."""
    if status not in (0, 2, 3):
        return f"status {status} after {took_s:.0f} s: {words.strip()[-300:]}"
    for word in WORDS:
        if word in words:
            return f"status {status}, yet it says: {words.strip()[-300:]}"
    if status == 2 and not words.strip():
        return "refused without a word"
    changed = {name for name in before if before[name] != after.get(name)}
    wanted: tuple[str, ...] = (".soakline/",)  # what was understood is kept
    if status != 2:
        wanted += ("out/", MADE, MADE.replace(".gpkg", "-"))
    new = after.keys() - before.keys()
    new = {n for n in new if not n.startswith(wanted) and not n.endswith(("-wal", "-shm"))}
    if changed or new:
        return f"status {status}, files changed: {sorted(changed | new)}"
    return ""


def fault_of_plan(plan: Path) -> str:
    """What is wrong with the file of a plan that was made; empty if it is whole."""
    if not plan.is_file():
        return "a plan was made, and there is no file"
    with closing(sqlite3.connect(plan)) as database:
        told = database.execute("PRAGMA integrity_check").fetchone()[0]
        there = {name for (name,) in database.execute("SELECT table_name FROM gpkg_contents")}
    lacking = {schema.name for schema in LAYERS} - there
    return f"half a plan: {told}, without {sorted(lacking)}" if told != "ok" or lacking else ""


def main() -> int:
    """Run from the command line; status 1 if a case had a fault."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=2000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--anew", type=int, default=0)
    parser.add_argument("--how", choices=("read", "run"), default="read")
    parser.add_argument("--good", type=Path, help="a folder made before, to save time")
    asked = parser.parse_args()
    faults, statuses, kinds = 0, Counter[int](), Counter[tuple[str, str]]()
    with tempfile.TemporaryDirectory() as scratch:
        good = asked.good or make_folder(Path(scratch) / "good")
        numbers = range(asked.first, asked.first + asked.count)
        if asked.how == "read":
            from tests.hostile.readers import read_cases  # noqa: PLC0415 - it imports this module

            cases = read_cases(good, numbers, asked.seed)
        else:
            cases = run_cases(good, numbers, asked.seed, asked.anew)
        for case in cases:
            statuses[case.status] += 1
            kinds[case.file, case.mutation] += 1
            if case.number % 100 == 99:
                print(f"{case.number + 1} done", file=sys.stderr)
            if case.fault:
                faults += 1
                print(f"{case.number} {case.command} {case.file} {case.mutation}: {case.fault}")
                sys.stdout.flush()
    for (file, mutation), count in sorted(kinds.items()):
        print(f"{file:<14} {mutation:<15} {count:5}")
    print(f"{asked.count} mutations, statuses {dict(sorted(statuses.items()))}, {faults} faults")
    return int(faults > 0)


if __name__ == "__main__":
    sys.exit(main())
