"""Every key of a run with the value used, for the plan's run record."""

from dataclasses import dataclass
from typing import Any

from soakline.runfile.keys import Keys
from soakline.runfile.reading import KeyPath, plain_keys, sections
from soakline.runfile.sections import RunFile


@dataclass(frozen=True, slots=True)
class UsedKey:
    """One key of a run.

    Parameters
    ----------
    key : with its section, `siting.setback_m.dam`
    value : as used; tuples for lists
    given : the run file names it, or another key that it follows from; else it is the default
    """

    key: str
    value: Any
    given: bool


def used_keys(run: RunFile) -> tuple[UsedKey, ...]:
    """All keys in the run file's order.

    A key that is only another name for one that is listed (`design_years`) stands here only if the
    run file gave it. Where `cover` gave the curve number, `curve_number` is the table's.
    """
    used = []
    for path, _ in sections():
        keys = _section(run, path)
        for name in plain_keys(type(keys)):
            value = getattr(keys, name)
            if value is not None:
                default = type(keys).model_fields[name].get_default(call_default_factory=True)
                given = name in keys.model_fields_set or value != default
                used.append(UsedKey(".".join((*path, name)), value, given))
    return tuple(used)


def _section(run: RunFile, path: KeyPath) -> Keys:
    keys: Keys = run
    for name in path:
        keys = getattr(keys, name)
    return keys
