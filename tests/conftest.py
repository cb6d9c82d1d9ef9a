"""The console program, as every test of a command runs it."""

import signal
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from hypothesis import settings

import soakline as _soakline  # noqa: F401 - closes the libraries that read files, before any is loaded

# The same examples in every run: a red test is then a change of ours, and no timing is judged on a
# machine that others use too. `--hypothesis-profile=searching` looks further, elsewhere each time.
settings.register_profile("steady", derandomize=True, deadline=None)
settings.register_profile("searching", max_examples=1000, deadline=None)
settings.load_profile("steady")

# A shell that starts the tests in the background has them ignore SIGINT, and what they start too.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)


@dataclass(frozen=True)
class Ran:
    """What a run of the console program left behind."""

    status: int
    stdout: str
    stderr: str


Soakline = Callable[..., Ran]


@pytest.fixture
def soakline(tmp_path: Path) -> Soakline:
    """Run `soakline` with arguments in a process of its own: status, stdout and stderr."""

    def run(*arguments: str | Path, cwd: Path = tmp_path, timeout_s: float = 300) -> Ran:
        ran = subprocess.run(
            [sys.executable, "-m", "soakline", *map(str, arguments)],
            cwd=cwd,
            capture_output=True,
            text=True,
            encoding="utf-8",
            timeout=timeout_s,
            check=False,
        )
        return Ran(ran.returncode, ran.stdout, ran.stderr)

    return run
