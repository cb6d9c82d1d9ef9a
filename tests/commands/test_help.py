"""Help answers at once, and tells what there is."""

import resource
import subprocess
import sys

from soakline import __version__


def seconds_at_work() -> float:
    """Processor time of finished child processes, s: no other work on the machine counts."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def test_help_answers_within_half_a_second(soakline):
    soakline("--help")  # compiles the modules
    seconds = []
    for _ in range(5):
        began = seconds_at_work()
        assert soakline("--help").status == 0
        seconds.append(seconds_at_work() - began)
    assert min(seconds) < 0.5


def test_help_loads_no_library_of_the_stages():
    program = (
        "import sys; from soakline.command.app import app\n"
        "try: app(['--help'])\n"
        "except SystemExit: pass\n"
        "heavy = {'numpy', 'pandas', 'numba', 'rasterio', 'shapely', 'scipy', 'matplotlib'}\n"
        "print(heavy & set(sys.modules), file=sys.stderr)"
    )
    ran = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert ran.stderr == "set()\n"


def test_help_names_the_commands_and_the_exit_statuses(soakline):
    ran = soakline("--help")
    for word in ("plan", "check", "start", "143"):
        assert word in ran.stdout
    for command in ("plan", "check", "start"):
        assert soakline(command, "--help").status == 0


def test_version(soakline):
    assert soakline("--version").stdout == f"{__version__}\n"
