"""Exit statuses, and what each leaves on stdout, stderr and in the log."""

import json
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.commands.running import run_script

FINISHED = "out.touch()\nreturn PlanOutcome(out, {stops})"


def test_a_plan_without_stops_ends_with_0_and_its_path_alone_on_stdout(plan, run_file, tmp_path):
    status, stdout, stderr = plan(FINISHED.format(stops=0), run_file)
    assert (status, stdout, stderr) == (0, f"{tmp_path / 'run.gpkg'}\n", "")


def test_a_plan_with_stops_ends_with_3_and_still_tells_its_path(plan, run_file, tmp_path):
    status, stdout, _ = plan(FINISHED.format(stops=2), run_file)
    assert (status, stdout) == (3, f"{tmp_path / 'run.gpkg'}\n")


def test_a_defect_ends_with_1_and_one_plain_line(plan, run_file):
    status, stdout, stderr = plan('raise ValueError("areas do not\\nsum")', run_file)
    assert (status, stdout) == (1, "")
    assert stderr.count("\n") == 1
    assert "a defect of ours, ValueError: areas do not sum" in stderr
    assert "Traceback" not in stderr


def test_a_defect_puts_its_traceback_in_the_log(plan, run_file, tmp_path):
    log = tmp_path / "log.jsonl"
    assert plan('raise ValueError("areas")', run_file, "--log", log, "--quiet")[0] == 1
    last = json.loads(log.read_text().splitlines()[-1])
    assert last["level"] == "error"
    assert "Traceback" in last["message"]
    assert "ValueError: areas" in last["message"]


def test_refused_input_ends_with_2_and_a_numbered_list(plan, run_file, tmp_path):
    body = (
        "from soakline.problems import InputProblem, InputRefused\n"
        "raise InputRefused([InputProblem('dem.tif', 'property.dem', f, 'a DEM') for f in 'ab'])"
    )
    log = tmp_path / "log.jsonl"
    status, stdout, stderr = plan(body, run_file, "--quiet", "--log", log)
    assert (status, stdout) == (2, "")
    assert "2 problems" in stderr
    assert "  1. dem.tif: property.dem: found a; allowed: a DEM\n  2. " in stderr
    assert len(log.read_text().splitlines()) == 2


def test_no_room_for_compiled_code_is_no_defect(plan, run_file):
    body = "import errno, os\nraise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), 'kernel.nbc')"
    status, stdout, stderr = plan(body, run_file)
    assert (status, stdout) == (2, "")
    assert stderr == ("soakline: No space left on device for kernel.nbc: make room and run again\n")


def test_a_log_without_room_ends_early_and_the_plan_is_made(plan, run_file, tmp_path):
    body = (
        "import resource\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))\n"
        "for _ in range(9):\n"
        "    progress.message('info', 'a line of the log' * 9)\n"
        "out.touch()\n"
        "return PlanOutcome(out, 0)"
    )
    log = tmp_path / "log.jsonl"
    status, stdout, stderr = plan(body, run_file, "--quiet", "--log", log)
    assert (status, stdout) == (0, f"{tmp_path / 'run.gpkg'}\n")
    assert stderr == f"soakline: the log {log} ends early: File too large\n"
    assert json.loads(log.read_text().splitlines()[0])["level"] == "info"


@pytest.mark.parametrize(("number", "status"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_a_signal_ends_with_its_status_and_tidies_up(
    start_plan, run_file, tmp_path, number, status
):
    body = (
        "import time\n"
        "from soakline.ending import cleared\n"
        "half = out.with_suffix('.half')\n"
        "half.touch()\n"
        "with cleared(lambda: half.unlink()):\n"
        "    print('working', flush=True)\n"
        "    time.sleep(60)\n"
    )
    process = start_plan(body, run_file)
    assert process.stdout.readline() == "working\n"
    process.send_signal(number)
    _, stderr = process.communicate(timeout=30)
    assert process.returncode == status
    name = signal.Signals(number).name
    assert stderr == f"soakline: ended by {name}; nothing half-written is left\n"
    assert not (tmp_path / "run.half").exists()


_END = """
import os, signal, time
def end():
    os.kill(os.getpid(), signal.SIGTERM)
    time.sleep(0.1)
"""
_IN_A_DESTRUCTOR = """
class Held:
    def __del__(self):
        end()
Held()
out.touch()
return PlanOutcome(out, 0)
"""
_UNDER_WHAT_CATCHES_ALL = """
try:
    end()
except BaseException:
    raise ImportError("a library's words") from None
"""
_BESIDE_A_THREAD = """
from concurrent.futures import ThreadPoolExecutor
with ThreadPoolExecutor(1) as thread:
    thread.submit(time.sleep, 60.0)
    end()
"""


@pytest.mark.parametrize("body", [_IN_A_DESTRUCTOR, _UNDER_WHAT_CATCHES_ALL, _BESIDE_A_THREAD])
def test_a_signal_ends_whatever_the_moment(start_plan, run_file, tmp_path, body):
    """An exception would be dropped there, taken for another, or kept waiting."""
    process = start_plan(_END + body, run_file)
    stdout, stderr = process.communicate(timeout=30)
    assert (process.returncode, stdout) == (143, "")
    assert stderr == "soakline: ended by SIGTERM; nothing half-written is left\n"
    assert not (tmp_path / "run.gpkg").exists()


def test_a_signal_that_the_parent_ignores_stays_ignored():
    """As under `nohup`, or in the background of a script."""
    program = (
        "import signal; from soakline.ending import end_on_signals; end_on_signals();"
        "print(signal.getsignal(signal.SIGINT) is signal.SIG_IGN)"
    )
    command = f"trap '' INT; exec {sys.executable} -c '{program}'"
    ran = subprocess.run(["/bin/sh", "-c", command], capture_output=True, text=True, check=True)
    assert ran.stdout == "True\n"


@pytest.mark.parametrize(
    "arguments",
    [["plan"], ["plan", "a.toml", "b.toml"], ["fly"], ["plan", "--nope"], ["check"], ["start"]],
    ids=" ".join,
)
def test_wrong_usage_ends_with_2(soakline, arguments):
    ran = soakline(*arguments)
    assert (ran.status, ran.stdout) == (2, "")
    assert ran.stderr


def test_results_into_a_closed_pipe_make_no_noise(tmp_path):
    command = f"{sys.executable} -m soakline start {tmp_path}/new | true"
    ran = subprocess.run(["/bin/sh", "-c", command], capture_output=True, check=False)
    assert ran.stderr == b""


@pytest.mark.parametrize("closed", ["<&-", ">&-", "2>&-", "<&- >&- 2>&-"])
def test_closed_standard_streams_are_no_defect(tmp_path, closed):
    command = f"exec {sys.executable} -m soakline start {tmp_path}/new {closed}"
    ran = subprocess.run(["/bin/sh", "-c", command], capture_output=True, check=False)
    assert (ran.returncode, ran.stderr) == (0, b"")
    assert (tmp_path / "new" / "rain.csv").read_text().startswith("duration_min")


_WARNED = """
import warnings
from soakline.command.app import main
def outline():
    with warnings.catch_warnings():
        pass  # as a library in another thread does
    warnings.warn("Dataset has no geotransform, gcps, or rpcs. The ...", UserWarning)
main(outline)
"""


def test_outlines_in_rows_and_columns_are_no_warning(tmp_path: Path) -> None:
    assert run_script(tmp_path, _WARNED, []) == (0, "", "")
