"""LIST.toml to the properties of a fleet; every problem of the list is told at once."""

import glob
from collections.abc import Iterator
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, ValidationError
from pydantic_core import ErrorDetails

from soakline.inputs.local_files import is_address
from soakline.problems import InputProblem, InputRefused
from soakline.runfile.keys import Keys, Name, Number, Wording, key
from soakline.runfile.load import read_toml
from soakline.runfile.reading import allowed, shown

_RUNS = "a list of run files or globs, as text, at least one"


class ListKeys(Keys):
    """All that a list may say."""

    runs: Annotated[tuple[Name, ...], Field(strict=False, min_length=1), Wording(_RUNS)]
    out: Name = key("fleet", "folder of plans and summary, made if it is not there")
    retries: Annotated[int, Number("", 0, 10)] = key(2, "attempts after the first")
    backoff_s: Annotated[float, Number("s", 0, 3600)] = key(
        5, "wait before the second attempt; twice as long before each one after it"
    )


@dataclass(frozen=True, slots=True)
class Listed:
    """One property of a list.

    Parameters
    ----------
    property_id : the run file's place below the list's folder, without its ending
    run_file, plan : absolute
    """

    property_id: str
    run_file: Path
    plan: Path


@dataclass(frozen=True, slots=True)
class FleetList:
    """A list as read.

    Parameters
    ----------
    out : folder of plans and summary, absolute
    retries : attempts after the first, for what may pass
    backoff_s : wait before the second attempt, doubled for each one after it
    properties : in the list's order, those of a glob by name
    """

    out: Path
    retries: int
    backoff_s: float
    properties: tuple[Listed, ...]

    @property
    def summary(self) -> Path:
        """The GeoPackage of all properties."""
        return self.out / "fleet.gpkg"

    @property
    def page(self) -> Path:
        """The progress page."""
        return self.out / "fleet.html"

    @property
    def state(self) -> Path:
        """What earlier runs have made, a line of JSON a plan."""
        return self.out / "fleet-state.jsonl"


def read_list(path: Path) -> FleetList:
    """Read and check a list; of the run files only the names.

    Parameters
    ----------
    path : the list; relative paths in it start at its folder

    Raises
    ------
    InputRefused
        With every problem of the list.
    """
    file = str(path)
    mend = 'A list is one line: runs = ["farms/*/run.toml"]'
    _, _, raw = read_toml(path, "a list of run files: TOML text", mend)
    problems: list[InputProblem] = []
    keys = _checked(raw, file, problems)
    folder = path.absolute().parent
    out = folder / keys.out
    problems += _out_problems(file, out)
    runs = [] if "runs" in {problem.key for problem in problems} else keys.runs
    found = [run for name in runs for run in _found(name, path, problems)]
    properties = tuple(_named(dict.fromkeys(found), folder, out, file, problems))
    if problems:
        raise InputRefused(problems)
    return FleetList(out, keys.retries, float(keys.backoff_s), properties)


def _checked(raw: dict[str, Any], file: str, problems: list[InputProblem]) -> ListKeys:
    """The keys; those that are refused at their defaults."""
    try:
        return ListKeys.model_validate(raw)
    except ValidationError as refused:
        errors = refused.errors(include_url=False)
    problems += {str(e["loc"][0]): _problem(e, raw, file) for e in errors}.values()
    wrong = {str(error["loc"][0]) for error in errors}
    rest = {name: value for name, value in raw.items() if name not in wrong}
    return ListKeys.model_validate({"runs": ("stand-in",), **rest})


def _problem(error: ErrorDetails, raw: dict[str, Any], file: str) -> InputProblem:
    name = str(error["loc"][0])
    known = list(ListKeys.model_fields)
    if error["type"] == "extra_forbidden":
        near = get_close_matches(name, known, n=1, cutoff=0.5)
        mend = f"Nearest valid key: {near[0]}" if near else ""
        return InputProblem(file, name, "an unknown key", f"the keys {', '.join(known)}", mend)
    wanted = allowed(ListKeys.model_fields[name])
    if error["type"] == "missing":
        return InputProblem(file, name, "nothing", wanted, "This key is required")
    return InputProblem(file, name, shown(raw[name]), wanted)


def _out_problems(file: str, out: Path) -> list[InputProblem]:
    try:
        wrong = next((p for p in (out, *out.parents) if p.exists() and not p.is_dir()), None)
    except (OSError, ValueError) as error:
        found = f"an unusable path ({error})"
        return [InputProblem(file, "out", found, "a folder, or the name of a new one")]
    if wrong is None:
        return []
    return [InputProblem(file, "out", f"the file {wrong}", "a folder, or the name of a new one")]


def _found(name: str, list_file: Path, problems: list[InputProblem]) -> list[Path]:
    """Run files of one entry: the file of that name, else what the glob matches."""
    path = list_file.absolute().parent / name
    wanted = "a run file that is there, or a glob that matches some"
    found = ""
    if is_address(name):
        found = f"the address {shown(name)}"
    else:
        try:
            # Path.glob takes no absolute pattern, and a list may name one.
            matches = [str(path)] if path.exists() else glob.glob(str(path), recursive=True)  # noqa: PTH207
            files = [Path(match) for match in sorted(matches) if Path(match).is_file()]
        except (OSError, ValueError) as error:
            found, files = f"{shown(name)}, not usable ({error})", []
        # A glob of all TOML files takes the list itself along.
        files = [run for run in files if not run.samefile(list_file)]
        if files:
            return files
    problems.append(InputProblem(str(list_file), "runs", found or f"{shown(name)}: none", wanted))
    return []


def _named(
    runs: dict[Path, None], folder: Path, out: Path, file: str, problems: list[InputProblem]
) -> Iterator[Listed]:
    """Each run file with its id, which tells it from all others."""
    taken: dict[str, Path] = {}
    real: dict[Path, None] = {run.resolve(): None for run in runs}
    for run in real:
        root = folder.resolve()
        # What lies elsewhere goes by its own folder's name: no plan is written outside `out`.
        place = run.relative_to(root) if run.is_relative_to(root) else Path(*run.parts[-2:])
        property_id = place.with_suffix("").as_posix().lstrip("/")
        if property_id in taken:
            found = f"{taken[property_id]} and {run}, both {property_id}"
            wanted = "run files that differ in folder or name, their endings aside"
            problems.append(InputProblem(file, "runs", found, wanted))
            continue
        taken[property_id] = run
        plan = out / "plans" / f"{property_id}.gpkg"
        yield Listed(property_id, run, plan)
