"""Names what was probably meant by a key that the run file does not have."""

import re
from difflib import get_close_matches

from soakline.problems import InputProblem
from soakline.runfile.keys import Keys
from soakline.runfile.reading import KeyPath, plain_keys, sections

UNITS = {
    "mm_h": "millimetres per hour",
    "mm_hr": "millimetres per hour",
    "in_h": "inches per hour",
    "in_hr": "inches per hour",
    "cm_h": "centimetres per hour",
    "m_d": "metres per day",
    "m_day": "metres per day",
    "m": "metres",
    "metres": "metres",
    "meters": "metres",
    "mm": "millimetres",
    "cm": "centimetres",
    "km": "kilometres",
    "ft": "feet",
    "feet": "feet",
    "in": "inches",
    "inches": "inches",
    "yd": "yards",
    "mi": "miles",
    "m2": "square metres",
    "sqm": "square metres",
    "km2": "square kilometres",
    "ft2": "square feet",
    "sqft": "square feet",
    "ha": "hectares",
    "ac": "acres",
    "acres": "acres",
    "pct": "percent",
    "percent": "percent",
    "deg": "degrees",
    "degrees": "degrees",
    "h": "hours",
    "hr": "hours",
    "hours": "hours",
    "min": "minutes",
    "minutes": "minutes",
    "days": "days",
    "years": "years",
}
_SUFFIX = re.compile("^(.+?)_(" + "|".join(sorted(UNITS, key=len, reverse=True)) + ")$")


def stem_and_unit(name: str) -> tuple[str, str]:
    """Split a key into its name and its unit, as long a one as there is; else an empty one.

    Examples
    --------
    >>> stem_and_unit("max_length_ft"), stem_and_unit("texture")
    (('max_length', 'ft'), ('texture', ''))
    """
    match = _SUFFIX.match(name)
    return (match[1], match[2]) if match else (name, "")


def _table(path: KeyPath) -> str:
    return f"[{'.'.join(path)}]"


def _unit_in_words(path: KeyPath, key: str) -> str:
    # Keys of [siting.setback_m] carry their unit in the section's name.
    unit = stem_and_unit(key)[1] or stem_and_unit(path[-1])[1]
    return UNITS.get(unit, "")


def _other_unit(wanted: str, path: KeyPath, model: type[Keys]) -> str:
    """What to write where only the unit of a key is wrong or missing."""
    stem, unit = stem_and_unit(wanted)
    for key in plain_keys(model):
        if stem_and_unit(key)[0] == stem:
            words = _unit_in_words(path, key)
            if not words:
                continue
            meant = f"{key} in {_table(path)}, in {words}"
            return (
                f"{wanted} would be in {UNITS[unit]}; write {meant}" if unit else f"Write {meant}"
            )
    return ""


def _meant(wanted: str, path: KeyPath, models: dict[KeyPath, type[Keys]]) -> str:
    here = models[path]
    elsewhere = {p: m for p, m in models.items() if p != path}
    if mend := _other_unit(wanted, path, here):
        return mend
    if homes := [_table(p) for p, m in elsewhere.items() if wanted in plain_keys(m)]:
        return f"{wanted} belongs in {' or '.join(homes)}"
    if near := get_close_matches(wanted, here.model_fields, n=1, cutoff=0.6):
        return f"Nearest valid key: {near[0]}"
    for p, m in elsewhere.items():
        if mend := _other_unit(wanted, p, m):
            return mend
    for p, m in elsewhere.items():
        if near := get_close_matches(wanted, plain_keys(m), n=1, cutoff=0.75):
            return f"Nearest valid key: {near[0]} in {_table(p)}"
    return ""


def unknown_section(name: str, file: str) -> InputProblem:
    """The problem of a name at the top of the run file that is no section."""
    models = dict(sections())
    nested = [
        p for p in models if p[-1] == name or stem_and_unit(p[-1])[0] == stem_and_unit(name)[0]
    ]
    homes = [_table(p) for p, m in models.items() if name in plain_keys(m)]
    near = get_close_matches(name, [p[0] for p in models if len(p) == 1], n=1, cutoff=0.5)
    if nested:
        mend = f"It is {_table(nested[0])}"
    elif homes:
        mend = f"{name} belongs in {' or '.join(homes)}"
    elif near:
        mend = f"Nearest valid section: [{near[0]}]"
    else:
        mend = ""
    allowed = "the sections of a run file"
    if not mend:
        allowed += ": " + ", ".join(f"[{p[0]}]" for p in models if len(p) == 1)
    return InputProblem(file, name, "an unknown section", allowed, mend)


def unknown_key(path: KeyPath, file: str) -> InputProblem:
    """The problem of a key that its section does not have.

    Parameters
    ----------
    path : section or sections, and the key last
    file : the run file, as the user knows it
    """
    models = dict(sections())
    section, wanted = path[:-1], path[-1]
    keys = list(models[section].model_fields)
    mend = _meant(wanted, section, models)
    allowed = f"the keys of {_table(section)}"
    if not mend:
        allowed += ": " + (", ".join(keys) or "none in this version")
    return InputProblem(file, ".".join(path), "an unknown key", allowed, mend)
