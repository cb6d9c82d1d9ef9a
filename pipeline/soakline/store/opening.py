"""Where the store of a run is, and what it is where none can be."""

from collections.abc import Callable
from pathlib import Path

from soakline.problems import InputRefused
from soakline.store.stage_store import StageStore

DEFAULT_LIMIT_GIB = 10.0


def default_folder(out: Path) -> Path:
    """Folder of the store where none is named: `.soakline` beside the plan."""
    return out.absolute().parent / ".soakline"


def open_store(
    work: Path | None,
    out: Path,
    limit_gib: float,
    fresh: bool,
    report: Callable[[str], None],
) -> StageStore:
    """Open the store that a run asks for.

    Parameters
    ----------
    work : folder named by the user; None for the default
    out : the plan
    limit_gib, fresh, report : as for `StageStore`

    Raises
    ------
    InputRefused
        If the named folder cannot be one. Where none is named and the default cannot be one, that
        is reported, and the store keeps nothing.
    """
    try:
        store = StageStore(work or default_folder(out), limit_gib, fresh, report)
    except InputRefused as refused:
        if work is not None:
            raise
        report(f"nothing is kept for the next run: {refused}")
        return StageStore(None, limit_gib, fresh, report)
    store.clear_leftovers()
    store.write_behind()
    return store
