"""Runs the program as a user does, many times over, without minutes of loading."""

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

Run = Callable[[Path, list[str]], tuple[int, str, str]]


def run_anew(folder: Path, arguments: list[str], *under: str) -> tuple[int, str, str]:
    """Run the program as a user does, or under another command: status, stdout, stderr."""
    return _ended(folder, [*under, sys.executable, "-m", "soakline", *arguments])


def run_script(folder: Path, script: str, arguments: list[str]) -> tuple[int, str, str]:
    """As `run_anew`, by a script that changes something before it calls the program."""
    return _ended(folder, [sys.executable, "-c", script, *arguments])


def _ended(folder: Path, command: list[str]) -> tuple[int, str, str]:
    ran = subprocess.run(
        command,
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    return ran.returncode, ran.stdout, ran.stderr


def run_bound(folder: Path, arguments: list[str]) -> tuple[int, str, str]:
    """As `run_anew`, where permissions bind the superuser too."""
    if os.geteuid() != 0:
        return run_anew(folder, arguments)
    if shutil.which("setpriv") is None:
        pytest.skip("the superuser may read and write everywhere")
    return run_anew(folder, arguments, "setpriv", "--bounding-set=-dac_override,-dac_read_search")


# A process that has loaded the libraries and is copied for each command. Loading takes two seconds
# and is the same for all: without this the module would take minutes, and nobody would run it.
_LOADED = """
import json, os, sys
import soakline.inputs.read
from soakline.command.app import main
from importlib.util import find_spec
if find_spec("soakline.stages.plan"):
    import soakline.stages.plan
for line in sys.stdin:
    folder, arguments, out, err = json.loads(line)
    child = os.fork()
    if child == 0:
        os.chdir(folder)
        for number, path in ((1, out), (2, err)):
            os.dup2(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC), number)
        sys.argv = ["soakline", *arguments]
        status = 0
        try:
            main()
        except SystemExit as end:
            status = end.code or 0
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(status)
    print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)
"""


@contextmanager
def loaded_program(words: Path) -> Iterator[Run]:
    """As `run_anew`, without loading the libraries again; `words` is a folder for its output."""
    with subprocess.Popen(
        [sys.executable, "-c", _LOADED], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as loaded:
        asked, answered = loaded.stdin, loaded.stdout
        assert asked is not None
        assert answered is not None

        def run(folder: Path, arguments: list[str]) -> tuple[int, str, str]:
            out, err = words / "out", words / "err"
            asked.write(json.dumps([str(folder), arguments, str(out), str(err)]) + "\n")
            asked.flush()
            status = int(answered.readline())
            return status, out.read_text(encoding="utf-8"), err.read_text(encoding="utf-8")

        yield run
        asked.close()
