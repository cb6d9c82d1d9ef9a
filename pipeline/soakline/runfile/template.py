"""The commented run file that `soakline start` writes, made from the models alone."""

from soakline.runfile.keys import Keys
from soakline.runfile.reading import KeyPath, allowed, plain_keys, sections, shown
from soakline.runfile.sections import RunFile

REQUIRED: dict[KeyPath, str] = {
    ("property", "dem"): "dem.tif",
    ("property", "boundary"): "boundary.gpkg",
    ("rain", "table"): "rain.csv",
}
"""Names that a new run folder expects its three required files under."""

HEAD = """\
# soakline run file. Paths are relative to this file.
# The three keys without a # in front are required; every other one shows its default:
# take the # away to change it.
"""


def run_file_template() -> str:
    """The run file with every key: what it is, its range and unit, its default.

    Examples
    --------
    >>> import tomllib
    >>> tomllib.loads(run_file_template())["rain"]
    {'table': 'rain.csv'}
    """
    return HEAD + "".join(_section(path, model) for path, model in sections(RunFile))


def _section(path: KeyPath, model: type[Keys]) -> str:
    purpose = (model.__doc__ or "").partition(": ")[2].splitlines()[0]
    lines = ["", f"# {purpose[0].upper()}{purpose[1:]}", f"[{'.'.join(path)}]"]
    for name, field in plain_keys(model).items():
        default = None if field.is_required() else field.get_default(call_default_factory=True)
        if default is None and not field.is_required():
            continue  # another name for a key that stands here and names it
        lines += ["", f"# {field.title}", f"# {allowed(field)}"]
        if (*path, name) in REQUIRED:
            lines.append(f"{name} = {shown(REQUIRED[(*path, name)])}")
        else:
            lines.append(f"# {name} = {shown(default)}")
    return "\n".join(lines) + "\n"
