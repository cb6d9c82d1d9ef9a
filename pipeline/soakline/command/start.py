"""`soakline start`: a new run folder to fill in."""

from contextlib import suppress
from pathlib import Path

from typer import echo

from soakline.command.statuses import DONE
from soakline.inputs.quantity_items import rates_template
from soakline.problems import InputProblem, InputRefused
from soakline.runfile.template import run_file_template

RAIN_TABLE = "duration_min,2,5,10,20,50,100\n"
"""No depths on purpose: a plan on invented rain would look like a real one."""

README = """\
# A soakline run folder

Put your own files here, then run `soakline check run.toml`: it lists what is still missing.
`soakline plan run.toml` writes the plan, `run.gpkg`.

- `dem.tif`: bare-ground elevation model (no trees, no roofs) with cells of 0.5 to 5 m and its CRS.
  It should reach upslope of the property, for water comes from there.
- `boundary.gpkg`: the property's outline as one or more polygons, with its CRS.
- `rain.csv`: rainfall depths in mm for your place, from your weather service's table of depth,
  duration and frequency. Columns are headed by a return period in years (`10`) or an annual
  exceedance probability (`10%`); delete those you have no figures for. Add a row for each duration,
  usually 5, 10, 15, 30, 60, 120, 180, 360, 720, 1440 and 2880 minutes, and fill every cell:
  `60,18.2,24.0,28.5,33.1,39.6,44.9`.
- `rates.csv`, if you want costs: what one unit costs, in your own currency. It holds no figures:
  fill in those you pay for and name the file at `rates` in `run.toml`.
- `run.toml`: every setting with its unit, range and default. Look first at the soil, the curve
  number, the annual rain and the height of the trees.
- `features.gpkg`, if you have one: buildings, septic fields, wells, watercourses, dams, services,
  tracks, landslips. Name it at `features` in `run.toml`. What is not in it is not kept clear of.
  Swales that are dug, or whose line you have fixed, go into its layer `given_swales`: a plan's own
  layer `swales`, copied and edited, is one.
- `as_built.csv`, once swales are dug: levels measured along each lip, as
  `swale_id,chainage_m,level_m`. Name it at `as_built` in `run.toml`: the plan then tells where
  water leaves first, and what that costs.

A plan is a proposal, to be checked on site with an instrument. Steep or slipping ground, water near
buildings, septic fields or wells, neighbours below, dams and buried services need local codes and a
licensed engineer.
"""


def start_command(folder: Path) -> int:
    """Write a new run folder; print its run file's path.

    Parameters
    ----------
    folder : made if it is not there; must be empty

    Raises
    ------
    InputRefused
        If the folder holds anything, or cannot be written to; nothing is written.
    """
    _require_empty(folder)
    files = {
        "run.toml": run_file_template(),
        "rain.csv": RAIN_TABLE,
        "rates.csv": rates_template(),
        "README.md": README,
    }
    written = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in files.items():
            written.append(folder / name)
            (folder / name).write_text(text, encoding="utf-8")
    except OSError as error:
        for file in written:
            with suppress(OSError):
                file.unlink(missing_ok=True)
        raise _refuse(folder, f"not writable ({error.strerror})") from None
    echo(folder / "run.toml")
    return DONE


def _refuse(folder: Path, found: str) -> InputRefused:
    return InputRefused([InputProblem(str(folder), "", found, "a new or an empty folder")])


def _require_empty(folder: Path) -> None:
    try:
        if folder.is_dir():
            names = sorted(entry.name for entry in folder.iterdir())
            if names:
                raise _refuse(folder, f"a folder that holds {names[0]}" + _others(len(names) - 1))
        elif folder.exists() or folder.is_symlink():
            raise _refuse(folder, "a file")
    except (OSError, ValueError) as error:
        raise _refuse(folder, f"not readable ({error})") from None


def _others(count: int) -> str:
    return f" and {count} more" if count else ""
