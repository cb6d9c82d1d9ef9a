"""TOML to a checked RunFile; every problem of the file is told at once."""

import copy
import hashlib
import tomllib
from pathlib import Path
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from soakline.problems import InputProblem, InputRefused
from soakline.runfile.reading import KeyPath, allowed, field_at, shown
from soakline.runfile.sections import RunFile
from soakline.runfile.unknown_key import unknown_key, unknown_section

LARGEST_BYTES = 1_000_000
"""No run file is larger: what is, is another file named by mistake."""

REQUIRED_SECTIONS = ("property", "rain")


def load_run_file(path: Path) -> RunFile:
    """Read and check a run file; the files that it names are not opened.

    Parameters
    ----------
    path : the run file; relative paths in it start at its folder

    Raises
    ------
    InputRefused
        With every problem found, each with key, value, range and unit.
    """
    run, problems = load_what_holds(path)
    if problems or run is None:
        raise InputRefused(problems)
    return run


def load_what_holds(path: Path) -> tuple[RunFile | None, list[InputProblem]]:
    """Read a run file; hand on what is right in it besides what is not.

    Parameters
    ----------
    path : the run file

    Returns
    -------
    The run file with defaults in the place of refused keys, good for checking the files that it
    names; None if a refused key is among those that say how to read them. And all problems.
    """
    file = str(path)
    try:
        mend = "`soakline start DIR` writes one to fill in"
        content, text, raw = read_toml(path, "a run file: TOML text", mend)
    except InputRefused as refused:
        return None, refused.problems
    problems: list[InputProblem] = []
    run, refused_paths = _validate(raw, file, problems)
    if run is None or any(path[0] in REQUIRED_SECTIONS for path in refused_paths):
        return None, problems
    run.place(path, text, hashlib.sha256(content).hexdigest())
    return run, problems


def _refuse(file: str, key: str, found: str, wanted: str, mend: str = "") -> InputRefused:
    return InputRefused([InputProblem(file, key, found, wanted, mend)])


def read_toml(path: Path, wanted: str, mend: str) -> tuple[bytes, str, dict[str, Any]]:
    """Read a TOML file of a user's.

    Parameters
    ----------
    path : the file
    wanted : what it should be, in words
    mend : how to come by one that is not there

    Returns
    -------
    its bytes, its text and what the text holds

    Raises
    ------
    InputRefused
        If it cannot be read, is over 1 MB or is no TOML.
    """
    content = _read(path, str(path), wanted, mend)
    return content, *_parse(content, str(path))


def _read(path: Path, file: str, wanted: str, mend: str) -> bytes:
    try:
        if path.is_dir():
            raise _refuse(file, "", "a folder", wanted, "Name the file in it, such as run.toml")
        with path.open("rb") as stream:
            content = stream.read(LARGEST_BYTES + 1)
    except FileNotFoundError:
        raise _refuse(file, "", "no such file", wanted, mend) from None
    except (OSError, ValueError) as error:
        raise _refuse(file, "", f"not readable ({error})", wanted) from None
    if len(content) > LARGEST_BYTES:
        raise _refuse(file, "", "over 1 MB", wanted)
    return content


def _parse(content: bytes, file: str) -> tuple[str, dict[str, Any]]:
    wanted = "TOML 1.0 in UTF-8"
    try:
        text = content.decode("utf-8-sig").replace("\r\n", "\n")
        return text, tomllib.loads(text)
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise _refuse(file, f"line {line}", "bytes that are not UTF-8", wanted) from None
    except tomllib.TOMLDecodeError as error:
        message, _, place = str(error).rpartition(" (at ")
        raise _refuse(file, place.rstrip(")"), message or str(error), wanted) from None
    except (RecursionError, ValueError) as error:
        # Thousands of nested brackets, or an integer of thousands of digits.
        raise _refuse(file, "", f"not readable as TOML ({error})", wanted) from None


def _validate(
    raw: dict[str, Any], file: str, problems: list[InputProblem]
) -> tuple[RunFile | None, set[KeyPath]]:
    """Check all keys, then, without the keys that failed, what must hold between keys.

    Each round takes at least one key out, so the rounds end. Returns what is left as a run file,
    and the refused keys.
    """
    rest = copy.deepcopy(raw)
    for name in REQUIRED_SECTIONS:
        rest.setdefault(name, {})
    gone: set[KeyPath] = set()
    run = None
    while run is None:
        try:
            run = RunFile.model_validate(rest)
        except ValidationError as refused:
            told = len(gone)
            for error in refused.errors(include_url=False):
                path = _key_path(error)
                if _follows(error, path, gone):
                    continue
                problems.append(_problem(error, path, _at(rest, path), file))
                gone.add(path)
                _take_out(rest, path)
            if len(gone) == told:
                break
    return run, gone


def _key_path(error: ErrorDetails) -> KeyPath:
    """Section and key of an error, without places inside a list or a union."""
    path: KeyPath = ()
    for step in error["loc"]:
        known = field_at((*path, str(step)))
        if known is None and (path and not _is_section(path)):
            break
        path = (*path, str(step))
    return path


def _is_section(path: KeyPath) -> bool:
    field = field_at(path)
    return field is not None and allowed(field) == "a section"


def _follows(error: ErrorDetails, path: KeyPath, gone: set[KeyPath]) -> bool:
    """Whether an error may only follow from a key, or its whole section, that was refused."""
    above = {path[:length] for length in range(1, len(path) + 1)}
    together = {(*path, key) for key in error.get("ctx", {}).get("keys", ())}
    return not gone.isdisjoint(above | together)


def _take_out(rest: dict[str, Any], path: KeyPath) -> None:
    """Remove a refused key; one that is required gets a stand-in, so that the rest is checked."""
    inside = _at(rest, path[:-1])
    if not isinstance(inside, dict):
        return
    inside.pop(path[-1], None)
    field = field_at(path)
    if field is not None and field.is_required():
        inside[path[-1]] = {} if _is_section(path) else "stand-in"


def _at(rest: Any, path: KeyPath) -> Any:
    """What the parsed run file holds at a path; None where there is nothing."""
    for step in path:
        rest = rest.get(step) if isinstance(rest, dict) else None
    return rest


def _problem(error: ErrorDetails, path: KeyPath, value: Any, file: str) -> InputProblem:
    """Say one error of the models in the run file's own words, with the value as it was given."""
    kind, context = error["type"], error.get("ctx", {})
    if kind == "extra_forbidden":
        return unknown_section(path[0], file) if len(path) == 1 else unknown_key(path, file)
    name = ".".join(path)
    if kind == "conflict":
        name = ", ".join(".".join((*path, key)) for key in context["keys"])
        return InputProblem(file, name, context["found"], context["allowed"])
    field = field_at(path)
    wanted = context["allowed"] if kind == "range" else allowed(field) if field else error["msg"]
    if kind == "missing":
        return InputProblem(file, name, "nothing", wanted, "This key is required")
    if kind == "model_type":
        return InputProblem(file, name, _typed(value), f"a section: [{name}] and its keys below it")
    found = _typed(value) if kind.endswith("_type") else shown(value)
    return InputProblem(file, name, found, wanted)


def _typed(value: Any) -> str:
    """A value and what it is, for errors of type."""
    names = {bool: "true/false", str: "text", list: "a list", dict: "a table", int: "a number"}
    kind = names.get(type(value), "a number" if isinstance(value, float) else type(value).__name__)
    return f"{shown(value)} ({kind})"
