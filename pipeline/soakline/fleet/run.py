"""A fleet from its list to its summary."""

import contextlib
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from pathlib import Path

from distributed import Client

from soakline.ending import at_signal, scratch_folder
from soakline.fleet.cluster import fitting_workers, local_cluster, remote_cluster
from soakline.fleet.dispatch import Dispatch, Patience
from soakline.fleet.fleet_list import FleetList
from soakline.fleet.job import Job, PlanOne
from soakline.fleet.outcome import Outcome
from soakline.fleet.page import write_page
from soakline.fleet.rows import Row, counts
from soakline.fleet.state import add_to_state, read_state
from soakline.fleet.summary import write_summary
from soakline.outputs.whole_file import refuse_unwritable
from soakline.problems import InputRefused
from soakline.runfile.load import load_run_file
from soakline.runfile.sections import RunFile
from soakline.stages.progress import Progress, Stage

_PAGE_S = 2.0
"""Least time between two writings of the page."""


@dataclass(frozen=True, slots=True)
class FleetOptions:
    """Options of a fleet.

    Parameters
    ----------
    scheduler : address of one that runs; None for a cluster of its own on this machine
    workers : of a local cluster; 0 for one a core
    memory_bytes : of all workers of a local cluster together; 0 for what the machine has free
    fresh : plans of earlier runs are made anew
    """

    scheduler: str | None = None
    workers: int = 0
    memory_bytes: int = 0
    fresh: bool = False


@dataclass(slots=True)
class _Board:
    """Rows of all properties, told of what happens; tells terminal, log, state and page."""

    title: str
    fleet: FleetList
    progress: Progress
    stage: Stage
    rows: dict[str, Row]
    workers: int = 0
    _page_at: float = 0.0
    _told_page: bool = False
    _count: int = field(default=0)

    def started(self, job: Job, attempt: int) -> None:
        row = self.rows[job.property_id]
        row.doing, row.attempts = "running", attempt
        row.outcome = None

    def again(self, job: Job, attempt: int, outcome: Outcome, wait_s: float) -> None:
        row = self.rows[job.property_id]
        row.doing, row.outcome = "waiting again", outcome
        self.progress.message(
            "caution",
            f"{job.property_id}: attempt {attempt} failed: {outcome.message}; "
            f"again in {wait_s:g} s",
        )

    def ended(self, job: Job, attempt: int, outcome: Outcome) -> None:
        row = self.rows[job.property_id]
        row.doing, row.outcome, row.attempts = "ended", outcome, attempt
        if outcome.is_planned and not outcome.kept:
            try:
                add_to_state(self.fleet.state, job.property_id, outcome)
            except OSError as error:
                said = f"{self.fleet.state}: {error.strerror}: a later run plans it again"
                self.progress.message("caution", said)
        self._count += 1
        said = f"{self._count} of {len(self.rows)}: {job.property_id}: {_in_words(outcome)}"
        self.progress.message("info" if outcome.is_planned else "error", said)
        if outcome.trace:
            self.progress.message("note", f"{job.property_id}: {outcome.trace}")
        self.stage.advanced(self._count / len(self.rows))

    def passed(self, workers: int) -> None:
        if workers == 0 and self.workers != 0:
            self.progress.message("caution", "no worker is there; waiting for one")
        self.workers = workers
        if time.monotonic() - self._page_at >= _PAGE_S:
            self.draw("")

    def draw(self, ended: str) -> None:
        """Write the page; the fleet goes on without it."""
        self._page_at = time.monotonic()
        try:
            write_page(self.fleet.page, self.title, list(self.rows.values()), self.workers, ended)
        except OSError as error:
            if not self._told_page:
                self.progress.message("caution", f"{self.fleet.page}: {error.strerror}")
            self._told_page = True


def _in_words(outcome: Outcome) -> str:
    figures = outcome.figures
    if figures is None:
        return f"{outcome.status}: {outcome.message}"
    kept = "kept" if outcome.kept else "planned"
    stops = f", {figures.stops} findings at stop" if figures.stops else ""
    return f"{kept} in {outcome.seconds:.1f} s, {figures.swales} swales{stops}"


def run_fleet(
    list_file: Path,
    fleet: FleetList,
    options: FleetOptions,
    plan_one: PlanOne,
    memory_of: Callable[[RunFile], int],
    progress: Progress,
) -> list[Row]:
    """Plan all properties of a list; write page, state and summary.

    Parameters
    ----------
    list_file : the list, for the page's title
    fleet : the list as read
    options : FleetOptions
    plan_one : PlanOne
    memory_of : estimate of what the plan of a run takes, bytes
    progress : told of every property

    Returns
    -------
    a row for each property, in the list's order

    Raises
    ------
    InputRefused
        If no scheduler answers, or the folder of the fleet cannot be written to; nothing is then.
    """
    with contextlib.ExitStack() as held:
        if options.scheduler is not None:
            # Before anything is written: an address may be mistyped.
            client = held.enter_context(remote_cluster(options.scheduler))
        fleet.out.mkdir(parents=True, exist_ok=True)
        refuse_unwritable(fleet.summary)
        earlier = {} if options.fresh else read_state(fleet.state)
        with progress.stage("surveying"):
            jobs = _jobs(fleet, earlier, memory_of)
        if options.scheduler is None:
            scratch = held.enter_context(scratch_folder())
            client = held.enter_context(_local(options, jobs, scratch))
        with progress.stage("fleet") as stage:
            rows = {p.property_id: Row(p.property_id, p.run_file, p.plan) for p in fleet.properties}
            board = _Board(list_file.stem, fleet, progress, stage, rows)
            with _told_if_ended(board):
                patience = Patience(fleet.retries, fleet.backoff_s)
                Dispatch(client, plan_one, patience, board).run(jobs)
        done = list(rows.values())
        write_summary(fleet.summary, done)
        board.draw("finished")
    return done


@contextlib.contextmanager
def _told_if_ended(board: _Board) -> Iterator[None]:
    def tell() -> None:
        board.draw("ended before all were planned; the next run goes on")

    with at_signal(lambda _: tell()):
        try:
            yield
        except BaseException:
            tell()
            raise


def _jobs(
    fleet: FleetList, earlier: dict[str, Outcome], memory_of: Callable[[RunFile], int]
) -> list[Job]:
    """All properties with what their plans take, the largest first: it ends soonest so."""

    def needs(run_file: Path) -> int:
        try:
            return memory_of(load_run_file(run_file))
        except InputRefused:
            return 0  # the worker tells why
        except Exception:  # noqa: BLE001 - as for any other property that fails
            return 0

    jobs = [
        Job(p.property_id, p.run_file, p.plan, needs(p.run_file), earlier.get(p.property_id))
        for p in fleet.properties
    ]
    return sorted(jobs, key=lambda job: -job.memory_bytes)


def _local(options: FleetOptions, jobs: list[Job], scratch: Path) -> AbstractContextManager[Client]:
    largest = max(job.memory_bytes for job in jobs)
    fitting = fitting_workers(options.workers, options.memory_bytes, largest)
    return local_cluster(fitting, scratch)


def all_planned(rows: list[Row]) -> bool:
    """Whether every property has a plan without a finding at stop."""
    return set(counts(rows)) == {"planned"}
