"""The report on paper, printed by a browser that is installed: it lays out pages in seconds."""

import os
import shutil
import subprocess
from pathlib import Path

import pikepdf

from soakline.ending import at_signal, scratch_folder
from soakline.problems import InputProblem, InputRefused

_BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
_LONGEST_S = 300


def browser() -> str:
    """Path of the browser that prints.

    Raises
    ------
    InputRefused
        If there is none.
    """
    found = next(filter(None, map(shutil.which, _BROWSERS)), None)
    if found is None:
        allowed = f"one of these on the path: {', '.join(_BROWSERS)}"
        mend = "Install one, or leave --pdf out and print the HTML file from any browser."
        raise InputRefused([InputProblem("--pdf", "", "no browser to print with", allowed, mend)])
    return found


def write_pdf(program: str, page: str, path: Path) -> None:
    """Print a page on A4, without a window, a profile or a network.

    Parameters
    ----------
    program : the browser
    page : HTML that needs nothing else
    path : the PDF

    Raises
    ------
    InputRefused
        If the browser fails, with the end of what it said.
    """
    with scratch_folder() as folder:
        file, printed = folder / "report.html", folder / "report.pdf"
        file.write_text(page, encoding="utf-8")
        command = [
            program, "--headless", "--disable-gpu", "--no-pdf-header-footer", "--no-first-run",
            "--disable-background-networking", f"--user-data-dir={folder}/profile",
            f"--print-to-pdf={printed}", file.as_uri(),
        ]  # fmt: skip
        if hasattr(os, "geteuid") and os.geteuid() == 0:
            command.insert(1, "--no-sandbox")  # an administrator's browser starts in no other way
        try:
            said = _run(command).strip()[-200:]
        except (OSError, subprocess.TimeoutExpired) as error:
            said = str(error)[:200]
        if not printed.is_file():
            found = f"{program} printed nothing: {said}"
            raise InputRefused([InputProblem("--pdf", "", found, "a browser that prints")])
        # Browsers write the structure that is read out, two thirds of the file, uncompressed.
        with pikepdf.open(printed) as paper:
            paper.save(path, object_stream_mode=pikepdf.ObjectStreamMode.generate)


def _run(command: list[str]) -> str:
    """Run the browser; what it said on stderr."""
    quiet = subprocess.DEVNULL
    with (
        subprocess.Popen(command, stdin=quiet, stdout=quiet, stderr=subprocess.PIPE) as browser,
        at_signal(lambda _: browser.kill()),
    ):
        try:
            said = browser.communicate(timeout=_LONGEST_S)[1]
        except subprocess.TimeoutExpired:
            browser.kill()
            raise
    return said.decode(errors="replace")
