"""Opens a finished plan for reading only: its layers and tables, problems collected."""

import re
import warnings
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio
import shapely
from pyogrio.errors import DataLayerError, DataSourceError

from soakline import __version__
from soakline.geopackage_guard import is_sqlite, odd_in
from soakline.problems import InputProblem, InputRefused

A_PLAN = "a plan that soakline wrote"
# A plan until it is whole, as `outputs.whole_file` names it.
_PART = re.compile(r"\..*\.part-\d+\.gpkg", re.IGNORECASE)


def file_and_digest(value: object) -> tuple[str, str]:
    """Name and SHA-256 of an input as the run record has them.

    Examples
    --------
    >>> file_and_digest("dem.tif sha256=00ff"), file_and_digest("")
    (('dem.tif', '00ff'), ('', ''))
    """
    name, found, digest = str(value).rpartition(" sha256=")
    return (name, digest) if found else (digest, "")


@contextmanager
def _without_warnings() -> Iterator[None]:
    """Of tables that the library cannot make sense of: those that are read are checked."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        yield


def layer_names(path: Path, read: Collection[str] = ()) -> set[str]:
    """Names of the layers and tables of a plan.

    Parameters
    ----------
    path : the plan
    read : names of those that are to be read: they must be plain tables

    Raises
    ------
    InputRefused
        If the file is not there, is still being written, not a GeoPackage that can be read, or one
        with endless views.
    """
    if not path.is_file():
        found = "a folder" if path.is_dir() else "no such file"
        raise InputRefused([InputProblem(str(path), "", found, A_PLAN)])
    if _PART.fullmatch(path.name) or _is_being_written(path):
        found = "a file that is still being written"
        mend = "Wait until the program that writes it is done."
        raise InputRefused([InputProblem(str(path), "", found, A_PLAN, mend)])
    unreadable = InputProblem(str(path), "", "not a readable GeoPackage, or one in use", A_PLAN)
    if not is_sqlite(path):
        raise InputRefused([unreadable])
    odd = odd_in(path, read)
    if odd:
        raise InputRefused([InputProblem(str(path), "", odd, A_PLAN)])
    try:
        with _without_warnings():
            return {str(name) for name, _ in pyogrio.list_layers(path.absolute())}
    except (DataSourceError, DataLayerError):
        raise InputRefused([unreadable]) from None


def _is_being_written(path: Path) -> bool:
    """Whether SQLite's journal stands beside the file: a writer is at it, or was cut off."""
    with suppress(OSError):
        journal = path.with_name(path.name + "-journal")
        return journal.is_file() and journal.stat().st_size > 0
    return False


def refuse_other_versions(path: Path) -> None:
    """Refuse a plan that another series of versions wrote; its first two numbers count.

    Raises
    ------
    InputRefused
        As for `read_tables`; and if the run record tells another version, or none.
    """
    tables, problems = read_tables(path, {"run_record": ("key", "value")}, lambda _: False)
    if problems:
        raise InputRefused(problems)
    record = tables["run_record"]
    told = record.loc[record["key"] == "version", "value"]
    version = str(told.iloc[0]) if len(told) else "unknown"
    if _series(version) != _series(__version__):
        order = "newer" if _series(version) > _series(__version__) else "older"
        which = "an unknown version" if version == "unknown" else f"the {order} version {version}"
        mend = (
            f"This is soakline {__version__}: make the plan again with it, or take the version "
            "that made the plan."
        )
        raise InputRefused([InputProblem(str(path), "", f"a plan of {which}", A_PLAN, mend)])


def _series(version: str) -> tuple[int, ...]:
    """Major and minor version; nothing where there is none.

    Examples
    --------
    >>> _series("0.1.3"), _series("unknown")
    ((0, 1), ())
    """
    match = re.match(r"(\d+)\.(\d+)", version)
    return tuple(int(part) for part in match.groups()) if match else ()


def read_layer(
    path: Path, name: str, columns: Sequence[str], spatial: bool, problems: list[InputProblem]
) -> pd.DataFrame:
    """One layer or table with the columns asked for.

    Parameters
    ----------
    path : the plan
    name : of the layer or table
    columns : that must be there
    spatial : whether it has a geometry and a CRS
    problems : added to; the frame is not fit for use then
    """
    key = f"table {name}"
    frame: pd.DataFrame
    try:
        with _without_warnings():
            frame = pyogrio.read_dataframe(
                path.absolute(), layer=name, columns=list(columns), read_geometry=spatial
            )
    except (DataSourceError, DataLayerError, ValueError, UnicodeDecodeError, shapely.GEOSException):
        problems.append(InputProblem(str(path), key, "damaged or cut short", A_PLAN))
        return pd.DataFrame()
    missing = sorted(set(columns) - set(frame.columns))
    if missing:
        found = f"no column {', '.join(missing)}"
        problems.append(InputProblem(str(path), key, found, A_PLAN))
    elif spatial and (not isinstance(frame, gpd.GeoDataFrame) or frame.crs is None):
        problems.append(InputProblem(str(path), key, "no geometry or no CRS", A_PLAN))
    return frame


def read_tables(
    path: Path, columns: Mapping[str, Sequence[str]], spatial: Callable[[str], bool]
) -> tuple[dict[str, pd.DataFrame], list[InputProblem]]:
    """Several layers and tables of a plan with the columns asked for.

    Parameters
    ----------
    path : the plan
    columns : that must be there, by layer or table
    spatial : whether one has a geometry and a CRS

    Returns
    -------
    frames by name, and the problems of all; with any, the frames are not fit for use

    Raises
    ------
    InputRefused
        As for `layer_names`; if it is another program's; and with the names of all layers and
        tables that are missing.
    """
    layers = layer_names(path, columns)
    if "run_record" not in layers:
        found = "a GeoPackage of another program: no table run_record"
        mend = "Name a file that `soakline plan` wrote."
        raise InputRefused([InputProblem(str(path), "", found, A_PLAN, mend)])
    missing = [name for name in columns if name not in layers]
    if missing:
        found = f"no table {', '.join(missing)}"
        raise InputRefused([InputProblem(str(path), "", found, A_PLAN)])
    problems: list[InputProblem] = []
    tables = {
        name: read_layer(path, name, own, spatial(name), problems) for name, own in columns.items()
    }
    return tables, problems
