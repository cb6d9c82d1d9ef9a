"""What is shown while a command works, on a terminal and elsewhere, and what the log holds."""

import json
import os
import pty
import subprocess
import sys
from collections.abc import Callable

STAGES = """
import os, time
from soakline.quiet import quiet_streams
with progress.stage("terrain", 1_000_000) as stage:
    with quiet_streams():
        os.write(1, b"noise"); os.write(2, b"noise")
        progress.message("caution", "steep ground")
        for step in range(101):
            stage.advanced(step / 100)
            time.sleep(0.005)
return PlanOutcome(out, 0)
"""


def test_elsewhere_plain_lines_tell_stage_cells_and_seconds(plan, run_file):
    _, stdout, stderr = plan(STAGES, run_file)
    first, second, third = stderr.splitlines()
    assert first == "terrain: 1,000,000 cells"
    assert second == "caution: steep ground"
    assert third.startswith("terrain: done in ")
    assert "\x1b" not in stderr
    assert stdout.count("\n") == 1


def test_quiet_shows_nothing(plan, run_file):
    assert plan(STAGES, run_file, "--quiet")[2] == ""


def test_the_log_is_one_json_object_an_event(plan, run_file, tmp_path):
    log = tmp_path / "log.jsonl"
    plan(STAGES, run_file, "--log", log, "--quiet")
    events = [json.loads(line) for line in log.read_text().splitlines()]
    assert [e["event"] for e in events[:3]] == ["started", "message", "advanced"]
    assert events[-1]["event"] == "finished"
    for event in events:
        assert set(event) == {
            "time", "event", "stage", "cells", "fraction", "seconds", "level", "message"
        }  # fmt: skip
        assert (event["stage"], event["cells"]) == ("terrain", 1_000_000)
    fractions = [e["fraction"] for e in events if e["event"] == "advanced"]
    assert fractions == sorted(fractions)
    assert fractions[-1] == 1.0


def on_a_terminal(command: list[str], environment: dict[str, str]) -> str:
    """Run a program whose stderr is a terminal; what it showed there."""
    ours, theirs = pty.openpty()
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=theirs, env=environment)
    os.close(theirs)
    shown = b""
    while True:
        try:
            block = os.read(ours, 4096)
        except OSError:  # how Linux tells that the other end is closed
            break
        if not block:
            break
        shown += block
    process.communicate(timeout=60)
    os.close(ours)
    return shown.decode()


def shown_by(start_plan: Callable[..., "subprocess.Popen[str]"], run_file, *options: str) -> str:
    # The same program as `plan` runs, with a terminal in the place of the pipe.
    process = start_plan(STAGES, run_file, *options)
    process.communicate(timeout=60)
    environment = {**os.environ, "TERM": "xterm", "COLUMNS": "120"}
    return on_a_terminal(list(process.args), environment)


def test_on_a_terminal_a_bar_tells_share_cells_and_what_is_left(start_plan, run_file):
    shown = shown_by(start_plan, run_file)
    assert "\x1b" in shown
    assert "1,000,000 cells" in shown
    assert "100%" in shown
    assert "caution: steep ground" in shown
    assert "noise" not in shown


def test_quiet_shows_nothing_on_a_terminal_either(start_plan, run_file):
    assert shown_by(start_plan, run_file, "--quiet") == ""


def test_a_closed_stderr_is_no_defect(run_file):
    command = f"exec {sys.executable} -m soakline check {run_file} 2>&-"
    ran = subprocess.run(["/bin/sh", "-c", command], capture_output=True, check=False)
    assert ran.returncode == 2
