"""`soakline plan` with stages of a test's own, so that only the command is under test."""

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

RUN_FILE = """
[property]
dem = "dem.tif"
boundary = "boundary.gpkg"
[rain]
table = "rain.csv"
"""

PROGRAM = """
import sys, types
from dataclasses import dataclass

@dataclass
class PlanOutcome:
    path: object
    stops: int

stages = types.ModuleType("soakline.stages.plan")
exec({stage!r}, {{**globals(), "PlanOutcome": PlanOutcome}}, stages.__dict__)
sys.modules["soakline.stages.plan"] = stages
from soakline.command.app import main
main()
"""


@pytest.fixture
def run_file(tmp_path: Path) -> Path:
    """A run file that loads; the files that it names are not there."""
    file = tmp_path / "run.toml"
    file.write_text(RUN_FILE, encoding="utf-8")
    return file


@pytest.fixture
def start_plan(tmp_path: Path) -> Callable[..., "subprocess.Popen[str]"]:
    """Start `soakline plan` whose `make_plan` has the body that a test gives."""

    def start(body: str, *arguments: str | Path) -> "subprocess.Popen[str]":
        lines = "\n".join("    " + line for line in body.splitlines())
        stage = (
            f"def make_plan(run, out, progress, map_path, rain_table, store, surfaces):\n{lines}\n"
        )
        return subprocess.Popen(
            [sys.executable, "-c", PROGRAM.format(stage=stage), "plan", *map(str, arguments)],
            cwd=tmp_path,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )

    return start


@pytest.fixture
def plan(start_plan) -> Callable[..., tuple[int, str, str]]:
    """Run `soakline plan` to its end: status, stdout, stderr."""

    def run(body: str, *arguments: str | Path) -> tuple[int, str, str]:
        process = start_plan(body, *arguments)
        stdout, stderr = process.communicate(timeout=60)
        return process.returncode, stdout, stderr

    return run
