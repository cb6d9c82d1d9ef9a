"""The end by a signal: nothing that another thread was about to write stays behind."""

import subprocess
import sys
from pathlib import Path

_PROGRAM = """
import os, signal, sys, threading, time
from pathlib import Path
from soakline.ending import at_signal, cleared, end_on_signals

file = Path(sys.argv[1])
written = threading.Event()

def write():
    with cleared(lambda: file.unlink(missing_ok=True)):
        file.touch()
        written.set()
        while file.exists():
            time.sleep(0.0005)
        time.sleep(0.005)
        file.touch()
        time.sleep(60.0)

end_on_signals()
with at_signal(lambda _: time.sleep(0.05)):  # what else is to be done takes a while
    threading.Thread(target=write, daemon=True).start()
    written.wait()
    os.kill(os.getpid(), signal.SIGTERM)
    time.sleep(60.0)
"""


def test_what_a_thread_writes_right_after_it_was_cleared_away_is_cleared_again(
    tmp_path: Path,
) -> None:
    file = tmp_path / "part"
    ended = subprocess.run([sys.executable, "-c", _PROGRAM, str(file)], timeout=50.0, check=False)
    assert ended.returncode == 143
    assert not file.exists()
