"""All that is measured of a plan, in the order of the table."""

from collections.abc import Sequence
from pathlib import Path

from soakline.verify.catchments import check_catchments
from soakline.verify.conformance import check_contract, check_file
from soakline.verify.dem import find_dem
from soakline.verify.earth import check_berms, check_pegs, check_quantities, check_sections
from soakline.verify.land import check_land
from soakline.verify.line import Line
from soakline.verify.lips import check_lips, check_spacing
from soakline.verify.plants import check_plants
from soakline.verify.reading import read_plan
from soakline.verify.runoff import check_runoff
from soakline.verify.setbacks import check_setbacks
from soakline.verify.velocities import check_velocities
from soakline.verify.water import check_water
from soakline.verify.ways import check_graph, check_routes, check_sills


def verify_plan(path: Path, dem_files: Sequence[Path], version: str) -> list[Line]:
    """Measure a finished plan against its own DEM.

    Parameters
    ----------
    path : the plan
    dem_files : the DEM's files; empty: those that the plan names, beside it
    version : of this program

    Returns
    -------
    Line of each fact

    Raises
    ------
    InputRefused
        If the file is no finished plan of this version, or its DEM is missing or another.
    """
    plan = read_plan(path, version)
    dem = find_dem(plan, dem_files)
    return [
        *check_file(plan),
        *check_contract(plan),
        Line("ground", "DEM of the plan", dem.allowed, dem.source, True),
        *check_lips(plan, dem),
        *check_spacing(plan),
        *check_land(plan),
        *check_setbacks(plan),
        *check_catchments(plan, dem),
        *check_sills(plan),
        *check_routes(plan, dem.cell_m),
        *check_velocities(plan, dem),
        *check_graph(plan),
        *check_water(plan),
        *check_runoff(plan),
        *check_sections(plan, dem),
        *check_berms(plan),
        *check_pegs(plan, dem),
        *check_quantities(plan),
        *check_plants(plan),
    ]
