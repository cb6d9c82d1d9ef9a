"""Keys whose work belongs to a later version: accepted at their default only, never ignored."""

from dataclasses import dataclass
from typing import Any, Literal, get_args, get_origin

from soakline.problems import InputProblem
from soakline.runfile.reading import field_at, shown

NOT_AVAILABLE = "not available in this version"


@dataclass(frozen=True, slots=True)
class Later:
    """A key, and the only value that this version takes.

    Parameters
    ----------
    path : section and key
    only : the default
    """

    path: tuple[str, str]
    only: Any


LATER = (Later(("climate", "daily"), ""),)


def take_out_later_keys(raw: dict[str, Any], file: str) -> list[InputProblem]:
    """Refuse what only a later version does, and take it out of the parsed run file.

    A value that no version would take stays in, for the ordinary checks to refuse.

    Parameters
    ----------
    raw : the parsed TOML; changed
    file : the run file, as the user knows it
    """
    problems = []
    for later in LATER:
        section, key = later.path
        keys = raw.get(section)
        if not isinstance(keys, dict) or key not in keys:
            continue
        value = keys[key]
        if value != later.only and _would_do(later, value):
            del keys[key]
            allowed = f"only {shown(later.only)}: anything else is {NOT_AVAILABLE}"
            problems.append(InputProblem(file, f"{section}.{key}", shown(value), allowed))
    return problems


def _would_do(later: Later, value: Any) -> bool:
    """Whether a later version might take this value."""
    if not isinstance(value, type(later.only)):
        return False
    field = field_at(later.path)
    if field is not None and get_origin(field.annotation) is Literal:
        return value in get_args(field.annotation)
    return True
