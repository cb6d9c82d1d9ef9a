"""What a worker does with one property: nothing if its plan stands, else the plan."""

import errno
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from soakline.fleet.figures import figures_of
from soakline.fleet.outcome import Outcome
from soakline.fleet.unchanged import made_from
from soakline.inputs.read import sha256_of
from soakline.problems import InputRefused
from soakline.runfile.load import load_run_file

PlanOne = Callable[[Path, Path], None]
"""Writes the plan of a run file to a path, as `soakline plan` would; a function of a module, so
that workers find it by name."""

# The network, another program or a neighbour in memory may be gone at the next attempt.
_MAY_PASS = {
    errno.EAGAIN, errno.EBUSY, errno.ECONNABORTED, errno.ECONNRESET, errno.EINTR, errno.EIO,
    errno.EMFILE, errno.ENFILE, errno.ENOLCK, errno.ENOMEM, errno.ESTALE, errno.ETIMEDOUT,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Job:
    """One property as a worker gets it.

    Parameters
    ----------
    property_id : of the list
    run_file, plan : absolute, on a disk that workers share with whoever started the fleet
    memory_bytes : estimate of what its plan takes
    earlier : outcome of an earlier run; None if there is none, or it shall not count
    """

    property_id: str
    run_file: Path
    plan: Path
    memory_bytes: int
    earlier: Outcome | None = None


def run_job(job: Job, plan_one: PlanOne) -> Outcome:
    """Plan a property, unless its plan stands; whatever goes wrong is an outcome too.

    Parameters
    ----------
    job : Job
    plan_one : PlanOne
    """
    began = time.perf_counter()
    try:
        outcome = _planned(job, plan_one)
    except InputRefused as refused:
        outcome = Outcome("refused", 0.0, _first_of(refused))
    except Exception as error:  # noqa: BLE001 - one property's failure never stops the rest
        outcome = _failed(error)
    return replace(outcome, seconds=time.perf_counter() - began)


def _planned(job: Job, plan_one: PlanOne) -> Outcome:
    source = made_from(load_run_file(job.run_file))
    earlier = job.earlier
    if (
        earlier is not None
        and earlier.is_planned
        and earlier.made_from == source
        and earlier.plan_sha256 == sha256_of(job.plan)
    ):
        return replace(earlier, kept=True)
    job.plan.parent.mkdir(parents=True, exist_ok=True)
    plan_one(job.run_file, job.plan)
    figures = figures_of(job.plan)
    return Outcome(
        "stop" if figures.stops else "planned",
        0.0,
        figures=figures,
        made_from=source,
        plan_sha256=sha256_of(job.plan),
    )


def _first_of(refused: InputRefused) -> str:
    more = len(refused.problems) - 1
    return f"{refused.problems[0]}" + (f" (and {more} more: soakline check)" if more else "")


def _failed(error: Exception) -> Outcome:
    what = " ".join(str(error).split())[:300]
    passing = may_pass(error)
    kind = type(error).__name__
    said = f"{kind}: {what}" if passing else f"a defect of ours, {kind}: {what}"
    return Outcome("failed", 0.0, said, may_pass=passing, trace=traceback.format_exc())


def may_pass(error: BaseException) -> bool:
    """Whether a failure, or what it was raised from, may be gone at another attempt.

    Examples
    --------
    >>> may_pass(OSError(errno.ESTALE, "stale file handle")), may_pass(ValueError("areas"))
    (True, False)
    """
    link: BaseException | None = error
    while link is not None:
        if isinstance(link, MemoryError):
            return True
        if isinstance(link, OSError) and link.errno in _MAY_PASS:
            return True
        link = link.__cause__ or link.__context__
    return False
