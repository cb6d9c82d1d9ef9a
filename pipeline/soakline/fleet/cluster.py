"""The Dask cluster that a fleet runs on: one of its own on this machine, or one that is there."""

import logging
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import dask
import psutil
from distributed import Client, LocalCluster

from soakline.ending import at_signal
from soakline.problems import InputProblem, InputRefused

MEMORY = "memory_mib"
"""The Dask resource that a worker declares and a property takes, MiB."""
SPARE_BYTES = 500_000_000
"""Memory of the machine that is left to the scheduler and to others."""
CONNECT_S = 10.0


@dataclass(frozen=True, slots=True)
class Workers:
    """Processes of a local cluster, one thread each.

    Parameters
    ----------
    count : number
    memory_bytes : of each
    """

    count: int
    memory_bytes: int


def fitting_workers(asked: int, memory_bytes: int, largest_bytes: int) -> Workers:
    """As many workers as asked for, or as cores, but so few that each bears the largest property.

    Parameters
    ----------
    asked : 0 for one a core
    memory_bytes : of all workers together; 0 for what the machine has free
    largest_bytes : what the largest property takes

    Examples
    --------
    >>> fitting_workers(4, 16_000, 5_000)
    Workers(count=3, memory_bytes=5333)
    """
    free = memory_bytes or max(psutil.virtual_memory().available - SPARE_BYTES, 1)
    most = max(free // max(largest_bytes, 1), 1)
    count = min(asked or os.cpu_count() or 1, most)
    return Workers(count, free // count)


@contextmanager
def local_cluster(workers: Workers, scratch: Path) -> Iterator[Client]:
    """Run a cluster on this machine for the length of a block.

    A worker that dies is started again. None is killed for its use of memory: what it is given
    fits, and a plan that was killed near its end would be killed again.

    Parameters
    ----------
    workers : how many, and how large
    scratch : an existing folder for Dask's own files
    """
    threads = str(max((os.cpu_count() or 1) // workers.count, 1))
    settings = {
        # Whose worker dies is told at once; when to try again is ours to say.
        "distributed.scheduler.allowed-failures": 0,
        "distributed.worker.daemon": True,
        "distributed.comm.timeouts.connect": "60s",
    }
    with (
        dask.config.set(settings),
        at_signal(lambda _: _kill_children()),
        LocalCluster(
            n_workers=workers.count,
            threads_per_worker=1,
            processes=True,
            memory_limit=0,
            resources={MEMORY: workers.memory_bytes / 2**20},
            dashboard_address=None,
            local_directory=str(scratch),
            silence_logs=logging.CRITICAL,
            env={"NUMBA_NUM_THREADS": threads, "OMP_NUM_THREADS": threads},
        ) as cluster,
        Client(cluster) as client,
    ):
        yield client


def _kill_children() -> None:
    for child in psutil.Process().children(recursive=True):
        with suppress(psutil.NoSuchProcess):
            child.kill()


@contextmanager
def thread_cluster() -> Iterator[Client]:
    """Run a cluster of threads in this process for the length of a block, one a core.

    For compiled work on files, which neither holds the interpreter nor sends much.
    """
    with (
        LocalCluster(
            n_workers=1,
            threads_per_worker=os.cpu_count() or 1,
            processes=False,
            memory_limit=0,
            dashboard_address=None,
            silence_logs=logging.CRITICAL,
        ) as cluster,
        Client(cluster, set_as_default=False) as client,
    ):
        yield client


@contextmanager
def remote_cluster(address: str) -> Iterator[Client]:
    """Use the cluster of a scheduler for the length of a block; it runs on afterwards.

    Parameters
    ----------
    address : of the scheduler, such as tcp://10.0.0.5:8786

    Raises
    ------
    InputRefused
        If no scheduler answers there.
    """
    logging.getLogger("distributed").setLevel(logging.CRITICAL)
    try:
        client = Client(address, timeout=CONNECT_S)
    except (OSError, ValueError, TypeError) as error:
        found = f"no Dask scheduler ({' '.join(str(error).split())[:200]})"
        allowed = "the address of one that runs, such as tcp://10.0.0.5:8786"
        raise InputRefused([InputProblem(address, "--scheduler", found, allowed)]) from None
    with client:
        yield client


def largest_worker_mib(client: Client) -> float | None:
    """Memory of the largest worker that declares it; None where none does.

    Parameters
    ----------
    client : of the cluster
    """
    workers = client.scheduler_info(n_workers=-1)["workers"].values()
    declared = [worker.get("resources", {}).get(MEMORY) for worker in workers]
    return max((float(mib) for mib in declared if mib is not None), default=None)
