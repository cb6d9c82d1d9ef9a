"""Writes the files to set out from: each whole or not at all, all of them or none."""

from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from soakline.outputs.whole_file import refuse_unwritable, written_whole
from soakline.problems import ProblemCollector
from soakline.runfile.works_sections import SETOUT_FORMATS
from soakline.setout.csv_pegs import write_csv
from soakline.setout.dxf import write_dxf
from soakline.setout.field_page import write_field_page
from soakline.setout.gpx import write_gpx
from soakline.setout.ground_tiff import dem_of, read_ground, write_finished_ground
from soakline.setout.landxml import write_landxml
from soakline.setout.plan import SetOutPlan
from soakline.setout.read import read_setout

ENDINGS = {
    "csv": "-pegs.csv",
    "gpx": "-pegs.gpx",
    "dxf": "-setout.dxf",
    "landxml": "-setout.xml",
    "ground": "-finished-ground.tif",
    "pdf": "-drawings.pdf",
    "svg": "-drawing-{:02d}.svg",
    "map": "-map-sheets.pdf",
    "field": "-field.html",
}
"""What follows the plan's name, by format."""
_MOST_BYTES_A_SWALE = 400_000  # far more than any text format takes
_BYTES_A_SHEET = 1_000_000
_BYTES_A_MAP = 4_000_000
_DRAWN = frozenset({"pdf", "svg", "map"})


@dataclass(frozen=True, slots=True)
class SetoutOptions:
    """What is to be written.

    Parameters
    ----------
    formats : of `SETOUT_FORMATS`
    folder : where to; None for the plan's
    paper : "A4" or "A3"
    dem : files of the DEM; empty for the names that the plan has, beside it
    cell_m : cells of the finished ground; 0 for the DEM's own
    """

    formats: tuple[str, ...] = SETOUT_FORMATS
    folder: Path | None = None
    paper: str = "A4"
    dem: tuple[Path, ...] = ()
    cell_m: float = 0.0


@dataclass(frozen=True, slots=True)
class SetoutOutcome:
    """What was written, and what was not.

    Parameters
    ----------
    written : in the order of the formats
    not_written : in words, with the reason
    """

    written: tuple[Path, ...]
    not_written: tuple[str, ...]


Write = Callable[[Path], None]


def target_of(plan: Path, folder: Path | None, form: str, number: int = 0) -> Path:
    """Path of one file of a plan.

    Examples
    --------
    >>> target_of(Path("farm.gpkg"), None, "csv").name
    'farm-pegs.csv'
    """
    return (folder or plan.parent) / (plan.stem + ENDINGS[form].format(number))


def check_targets(plan: Path, options: SetoutOptions) -> None:
    """Refuse places that could not be written to, before any work is done.

    Raises
    ------
    InputRefused
        With all problems.
    """
    collector = ProblemCollector()
    for form in options.formats:
        with collector.collecting():
            refuse_unwritable(target_of(plan, options.folder, form, 1))
        if collector.problems and not (options.folder or plan.absolute().parent).is_dir():
            break  # one folder, one problem
    collector.raise_if_any()


def write_setout(path: Path, options: SetoutOptions) -> SetoutOutcome:
    """Read a plan and write what is asked for.

    Parameters
    ----------
    path : the plan
    options : SetoutOptions

    Raises
    ------
    InputRefused
        If the plan cannot be set out from, or a file cannot be written; then none is.
    """
    check_targets(path, options)
    plan = read_setout(path)
    jobs: list[tuple[Path, int, Write]] = []
    not_written: list[str] = []
    for form in (name for name in SETOUT_FORMATS if name in options.formats):
        if form == "ground":
            jobs += _ground_job(plan, options, not_written)
        elif form not in _DRAWN:
            jobs.append(_text_job(plan, options, form))
    with ExitStack() as all_of_them:
        if _DRAWN & set(options.formats):
            jobs += _drawing_jobs(plan, options, all_of_them)
        for target, needed, write in jobs:
            write(all_of_them.enter_context(written_whole(target, needed)))
    return SetoutOutcome(tuple(target for target, _, _ in jobs), tuple(not_written))


def _text_job(plan: SetOutPlan, options: SetoutOptions, form: str) -> tuple[Path, int, Write]:
    write = {
        "csv": write_csv,
        "gpx": write_gpx,
        "dxf": write_dxf,
        "landxml": write_landxml,
        "field": write_field_page,
    }[form]
    target = target_of(plan.path, options.folder, form)
    return target, _MOST_BYTES_A_SWALE * len(plan.swales), lambda path: write(plan, path)


def _ground_job(
    plan: SetOutPlan, options: SetoutOptions, not_written: list[str]
) -> list[tuple[Path, int, Write]]:
    target = target_of(plan.path, options.folder, "ground")
    paths, why = dem_of(plan, options.dem)
    if why:
        not_written.append(f"{target} was not written: {why}")
        return []
    ground = read_ground(plan, paths, options.cell_m)
    needed = 4 * ground.grid.cells
    return [(target, needed, lambda path: write_finished_ground(plan, ground, path))]


def _drawing_jobs(
    plan: SetOutPlan, options: SetoutOptions, style: ExitStack
) -> list[tuple[Path, int, Write]]:
    """Drawings; the library that draws takes a second to load."""
    from soakline.setout.detail_sheet import detail_sheets  # noqa: PLC0415
    from soakline.setout.long_sheet import long_sheets  # noqa: PLC0415
    from soakline.setout.map_layers import read_map_layers  # noqa: PLC0415
    from soakline.setout.map_sheets import map_sheets  # noqa: PLC0415
    from soakline.setout.section_sheet import section_sheet  # noqa: PLC0415
    from soakline.setout.section_types import section_types  # noqa: PLC0415
    from soakline.setout.sheet import Sheet, drawing_style, write_pdf, write_svg  # noqa: PLC0415
    from soakline.setout.sight_sheet import sight_sheets  # noqa: PLC0415

    style.enter_context(drawing_style())
    jobs: list[tuple[Path, int, Write]] = []
    if "map" in options.formats:
        maps = map_sheets(read_map_layers(plan.path), plan.name, options.paper)
        target = target_of(plan.path, options.folder, "map")
        needed = _BYTES_A_MAP * len(maps)
        jobs.append((target, needed, lambda path: write_pdf(maps, path, plan.name)))
    if not {"pdf", "svg"} & set(options.formats):
        return jobs
    sheets = [section_sheet(plan, kind, options.paper) for kind in section_types(plan)]
    sheets += detail_sheets(plan, options.paper)
    sheets += long_sheets(plan, options.paper)
    sheets += sight_sheets(plan, options.paper)
    if "pdf" in options.formats:
        target = target_of(plan.path, options.folder, "pdf")
        needed = _BYTES_A_SHEET * len(sheets)
        jobs.append((target, needed, lambda path: write_pdf(sheets, path, plan.name)))

    def svg(sheet: Sheet) -> Write:
        return lambda path: write_svg(sheet, path)

    for number, sheet in enumerate(sheets if "svg" in options.formats else (), 1):
        target = target_of(plan.path, options.folder, "svg", number)
        jobs.append((target, _BYTES_A_SHEET, svg(sheet)))
    return jobs
