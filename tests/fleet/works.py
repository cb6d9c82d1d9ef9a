"""Stand-ins for the plan of a property, for what a worker may do; found by workers by name."""

import errno
import os
import signal
from pathlib import Path


def _attempt(run_file: Path) -> int:
    """The number of this attempt, from 1, counted in a file beside the run file."""
    file = run_file.with_suffix(".attempts")
    number = len(file.read_text()) + 1 if file.exists() else 1
    file.write_text("x" * number)
    return number


def misbehave(run_file: Path, plan: Path) -> None:
    """Do what the run file's folder is named after, then write the demonstration's plan."""
    attempt = _attempt(run_file)
    match run_file.parent.name:
        case "killed-once" if attempt == 1:
            os.kill(os.getpid(), signal.SIGKILL)
        case "killed-always":
            os.kill(os.getpid(), signal.SIGKILL)
        case "stale-once" if attempt == 1:
            raise OSError(errno.ESTALE, "stale file handle")
        case "missing":
            raise FileNotFoundError(errno.ENOENT, "no such file")
        case "defect":
            raise ValueError("areas do not sum")
    plan.write_bytes((run_file.parents[1] / "made.gpkg").read_bytes())
