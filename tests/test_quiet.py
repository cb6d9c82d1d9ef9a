"""Silence at the level of file descriptors."""

import ctypes
import os
import subprocess
import sys
from pathlib import Path

import pytest

from soakline.quiet import quiet_streams


def printed_by(program: str) -> tuple[str, str]:
    head = "import ctypes, os, sys\nfrom soakline.quiet import quiet_streams\n"
    ran = subprocess.run(
        [sys.executable, "-c", head + program], capture_output=True, text=True, check=True
    )
    return ran.stdout, ran.stderr


def test_what_c_prints_and_buffers_is_never_seen():
    program = """
libc = ctypes.CDLL(None)
print("before")
libc.puts(b"C before")
with quiet_streams():
    libc.puts(b"C noise")
    libc.perror(b"C noise")
    os.write(2, b"noise")
    print("noise")
libc.puts(b"C after")
libc.fflush(None)
print("after", file=sys.stderr)
"""
    assert printed_by(program) == ("before\nC before\nC after\n", "after\n")


def test_both_streams_come_back_after_an_error():
    program = """
try:
    with quiet_streams():
        raise ValueError
except ValueError:
    print("out")
    print("err", file=sys.stderr)
"""
    assert printed_by(program) == ("out\n", "err\n")


def test_silence_within_silence():
    program = """
with quiet_streams():
    with quiet_streams():
        os.write(1, b"noise")
    os.write(1, b"noise")
print("out")
"""
    assert printed_by(program) == ("out\n", "")


@pytest.mark.parametrize("closed", [(1,), (2,), (1, 2), (0, 1, 2)], ids=str)
def test_a_file_opened_in_silence_never_takes_a_standard_streams_place(closed, tmp_path):
    data, report = tmp_path / "data", tmp_path / "report"
    program = f"""
report = os.open({str(report)!r}, os.O_CREAT | os.O_WRONLY)
for descriptor in {closed}:
    os.close(descriptor)
with quiet_streams():
    data = os.open({str(data)!r}, os.O_CREAT | os.O_WRONLY)
    os.write(1, b"noise")
    os.write(2, b"noise")
still_closed = []
for descriptor in {closed}:
    try:
        os.fstat(descriptor)
    except OSError:
        still_closed.append(descriptor)
os.write(report, repr((data, tuple(still_closed), os.fstat(data).st_size)).encode())
os._exit(0)
"""
    assert printed_by(program) == ("", "")
    number, still_closed, size = eval(report.read_text())  # noqa: S307 - our own text
    assert number not in (1, 2)
    assert still_closed == tuple(d for d in closed if d != number)
    assert size == 0


def test_closed_standard_streams_are_filled_and_open_ones_left():
    program = """
os.close(1)
from soakline.quiet import hold_standard_streams
hold_standard_streams()
os.write(2, str((os.open(os.devnull, os.O_RDONLY) > 2, os.path.samestat(
    os.fstat(1), os.stat(os.devnull)))).encode())
os._exit(0)
"""
    assert printed_by(program) == ("", "(True, True)")


def test_no_descriptor_is_left_behind():
    def open_now() -> list[str]:
        return sorted(entry.name for entry in Path("/proc/self/fd").iterdir())

    before = open_now()
    for _ in range(20):
        with quiet_streams():
            pass
    assert open_now() == before


def test_it_works_under_capture(capfd):
    with quiet_streams():
        os.write(1, b"noise")
    os.write(1, b"seen")
    ctypes.CDLL(None).fflush(None)
    assert capfd.readouterr().out == "seen"


def test_it_works_with_streams_of_pythons_own_replaced(monkeypatch):
    monkeypatch.setattr(sys, "stdout", None)
    with quiet_streams():
        os.write(1, b"noise")
