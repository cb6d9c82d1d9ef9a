"""Hands properties to workers, a few at a time, and tries again what may pass."""

import heapq
import time
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol

import distributed
from distributed import Client, Future, KilledWorker

from soakline.fleet.cluster import MEMORY, largest_worker_mib
from soakline.fleet.job import Job, PlanOne, run_job
from soakline.fleet.outcome import Outcome

_LOOK_S = 1.0
"""How often workers are counted and the listener hears that time passes."""


class Listener(Protocol):
    """Who is told what happens; `attempt` counts from 1."""

    def started(self, job: Job, attempt: int) -> None: ...
    def again(self, job: Job, attempt: int, outcome: Outcome, wait_s: float) -> None: ...
    def ended(self, job: Job, attempt: int, outcome: Outcome) -> None: ...
    def passed(self, workers: int) -> None: ...


@dataclass(frozen=True, slots=True)
class Patience:
    """How often what may pass is tried again.

    Parameters
    ----------
    retries : attempts after the first
    backoff_s : wait before the second attempt, doubled for each one after it
    """

    retries: int
    backoff_s: float

    def wait_s(self, attempt: int) -> float:
        """Wait after an attempt that failed, s.

        Examples
        --------
        >>> [Patience(3, 5.0).wait_s(attempt) for attempt in (1, 2, 3)]
        [5.0, 10.0, 20.0]
        """
        return float(self.backoff_s * 2 ** (attempt - 1))


@dataclass(slots=True)
class Dispatch:
    """Properties on their way through a cluster.

    Parameters
    ----------
    client : of the cluster
    plan_one : PlanOne
    patience : Patience
    listener : Listener
    """

    client: Client
    plan_one: PlanOne
    patience: Patience
    listener: Listener
    _waiting: deque[tuple[Job, int]] = field(default_factory=deque)
    _later: list[tuple[float, int, Job, int]] = field(default_factory=list)
    _running: "dict[Future[Outcome], tuple[Job, int, float]]" = field(default_factory=dict)
    _count: int = 0

    def run(self, jobs: Sequence[Job]) -> None:
        """Run all jobs; each ends with one outcome.

        No more are with the scheduler than it has threads: a worker that dies takes no more with
        it than what it was at.

        Parameters
        ----------
        jobs : in the order in which they start
        """
        self._waiting.extend((job, 1) for job in jobs)
        try:
            while self._waiting or self._later or self._running:
                self._step()
        except OSError as lost:
            said = f"the scheduler was lost: {' '.join(str(lost).split())[:200]}"
            self._give_up(Outcome("failed", 0.0, said))

    def _step(self) -> None:
        while self._later and self._later[0][0] <= time.monotonic():
            _, _, job, attempt = heapq.heappop(self._later)
            self._waiting.append((job, attempt))
        threads = sum(self.client.nthreads().values())
        while self._waiting and len(self._running) < threads:
            self._submit(*self._waiting.popleft())
        due_s = self._later[0][0] - time.monotonic() if self._later else _LOOK_S
        self._await(min(max(due_s, 0.01), _LOOK_S))
        for future in [future for future in self._running if future.done()]:
            self._finish(future)
        self.listener.passed(threads)

    def _await(self, seconds: float) -> None:
        if not self._running:
            time.sleep(seconds)
            return
        try:
            distributed.wait(list(self._running), seconds, return_when="FIRST_COMPLETED")
        except (TimeoutError, distributed.TimeoutError):
            return

    def _submit(self, job: Job, attempt: int) -> None:
        largest_mib = largest_worker_mib(self.client)
        needs_mib = job.memory_bytes / 2**20
        self.listener.started(job, attempt)
        if largest_mib is not None and needs_mib > largest_mib:
            said = f"needs about {needs_mib:,.0f} MiB; the largest worker has {largest_mib:,.0f}"
            self.listener.ended(job, attempt, Outcome("refused", 0.0, said))
            return
        self._count += 1
        future = self.client.submit(
            run_job,
            job,
            self.plan_one,
            key=f"{job.property_id}-{self._count}-{time.time_ns()}",
            pure=False,
            resources=None if largest_mib is None else {MEMORY: needs_mib},
        )
        self._running[future] = (job, attempt, time.perf_counter())

    def _finish(self, future: "Future[Outcome]") -> None:
        job, attempt, began = self._running.pop(future)
        outcome = _outcome_of(future)
        if outcome.seconds == 0.0:
            outcome = replace(outcome, seconds=time.perf_counter() - began)
        future.release()
        if outcome.may_pass and attempt <= self.patience.retries:
            wait_s = self.patience.wait_s(attempt)
            self._count += 1
            heapq.heappush(self._later, (time.monotonic() + wait_s, self._count, job, attempt + 1))
            self.listener.again(job, attempt, outcome, wait_s)
        else:
            self.listener.ended(job, attempt, outcome)

    def _give_up(self, outcome: Outcome) -> None:
        running = [(job, attempt) for job, attempt, _ in self._running.values()]
        later = [(job, attempt) for _, _, job, attempt in self._later]
        for job, attempt in [*running, *later, *self._waiting]:
            self.listener.ended(job, attempt, outcome)


def _outcome_of(future: "Future[Outcome]") -> Outcome:
    """The worker's outcome, or that of a worker that could not tell one."""
    if future.status == "finished":
        outcome: Outcome = future.result()
        return outcome
    if future.status != "error":
        return Outcome("failed", 0.0, "the worker was lost", may_pass=True)
    error = future.exception()
    if isinstance(error, KilledWorker):
        said = "its worker was killed, for want of memory perhaps"
        return Outcome("failed", 0.0, said, may_pass=True)
    # Not soakline's own: `run_job` tells those. Another version of it on the worker, for one.
    said = f"the worker could not start it: {type(error).__name__}: {error}"
    return Outcome("failed", 0.0, " ".join(said.split())[:300], may_pass=isinstance(error, OSError))
