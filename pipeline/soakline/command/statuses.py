"""Runs a command and turns whatever happens into an exit status and plain words."""

import os
import signal
import sys
import traceback
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from soakline.command.event_log import EventLog
from soakline.command.out_path import check_log_path
from soakline.command.terminal import Terminal
from soakline.ending import at_signal
from soakline.outputs.whole_file import NO_ROOM
from soakline.problems import InputProblem, InputRefused
from soakline.stages.progress import Event, Progress

DONE, DEFECT, REFUSED, AT_STOP = 0, 1, 2, 3


def run_command(
    command: Callable[[Progress], int],
    log: Path | None,
    quiet: bool,
    keep: tuple[Path, ...] = (),
) -> int:
    """Run a command with terminal and log listening.

    Parameters
    ----------
    command : the work; returns its exit status
    log : file for the events, one JSON object a line; None for no log
    quiet : show errors only
    keep : files that the log must not replace

    Returns
    -------
    exit status: 0 done, 1 a defect of ours, 2 refused, 3 at stop, 130 or 143 ended by a signal
    """
    with Terminal(quiet) as terminal:
        try:
            check_log_path(log, keep)
            event_log = EventLog(log)
        except InputRefused as refused:
            terminal.say(problem_list(refused.problems))
            return REFUSED
        with event_log:
            status = _told(command, terminal, event_log)
        if event_log.lost:
            terminal.say(f"soakline: the log {log} ends early: {event_log.lost}")
        return status


def _told(command: Callable[[Progress], int], terminal: Terminal, event_log: EventLog) -> int:
    def log_error(text: str) -> None:
        event_log.write(Event("message", level="error", text=text))

    def tell_end(number: int) -> None:
        name = signal.Signals(number).name
        terminal.stop_bars()
        log_error(f"ended by {name}")
        terminal.say(f"soakline: ended by {name}; nothing half-written is left")

    try:
        with at_signal(tell_end):
            status = command(Progress((terminal.show, event_log.write)))
        if sys.stdout is not None:  # it is, where the caller closed it
            sys.stdout.flush()
    except InputRefused as refused:
        terminal.stop_bars()
        for problem in refused.problems:
            log_error(str(problem))
        terminal.say(problem_list(refused.problems))
        return REFUSED
    except BrokenPipeError:
        # Whoever read the results has seen enough. Python's last flush must not complain.
        with suppress(OSError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        return DONE
    except Exception as defect:  # noqa: BLE001 - the last line of defence: told as a defect of ours
        terminal.stop_bars()
        log_error(traceback.format_exc())
        if isinstance(defect, OSError) and defect.errno in NO_ROOM:
            # For compiled code, say: the plan's own writing is refused in its own words.
            where = f" for {defect.filename}" if defect.filename else ""
            terminal.say(f"soakline: {defect.strerror}{where}: make room and run again")
            return REFUSED
        what = " ".join(str(defect).split())[:300]
        terminal.say(
            f"soakline: a defect of ours, {type(defect).__name__}: {what} - "
            "no fault of your input; run again with --log FILE.jsonl for the traceback"
        )
        return DEFECT
    return status


def _from_here(problem: InputProblem) -> InputProblem:
    """A problem whose file is named from the folder that the command runs in, if it lies there."""
    file, here = Path(problem.file), Path.cwd()
    if not file.is_absolute() or not file.is_relative_to(here):
        return problem
    return replace(problem, file=str(file.relative_to(here)))


def problem_list(problems: list[InputProblem]) -> str:
    """All problems as a numbered list."""
    count = "1 problem" if len(problems) == 1 else f"{len(problems)} problems"
    lines = [f"soakline: {count} in the input; nothing was written"]
    lines += [f"{number:3}. {_from_here(problem)}" for number, problem in enumerate(problems, 1)]
    return "\n".join(lines)
