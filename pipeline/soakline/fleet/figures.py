"""A finished plan in a few figures and its outline."""

from pathlib import Path

import geopandas as gpd

from soakline.fleet.outcome import Figures
from soakline.plan_file import read_tables
from soakline.problems import InputRefused

_COLUMNS = {
    "property": ("name", "area_m2"),
    "swales": ("length_m", "capacity_m3", "cut_m3"),
    "findings": ("severity",),
}


def figures_of(plan: Path) -> Figures:
    """Read a plan's figures.

    Parameters
    ----------
    plan : the GeoPackage

    Raises
    ------
    InputRefused
        If the file is no plan.
    """
    frames, problems = read_tables(plan, _COLUMNS, lambda name: name != "findings")
    if problems:
        raise InputRefused(problems)
    land = frames["property"]
    assert isinstance(land, gpd.GeoDataFrame)  # noqa: S101 - read with its geometry
    swales, severity = frames["swales"], frames["findings"]["severity"]
    boundary = land.geometry.to_crs("EPSG:4326").union_all()
    return Figures(
        name=str(land["name"].iloc[0] or ""),
        area_m2=float(land["area_m2"].sum()),
        swales=len(swales),
        length_m=float(swales["length_m"].sum()),
        capacity_m3=float(swales["capacity_m3"].sum()),
        cut_m3=float(swales["cut_m3"].sum()),
        stops=int((severity == "stop").sum()),
        cautions=int((severity == "caution").sum()),
        notes=int((severity == "note").sum()),
        boundary_wkb=boundary.wkb_hex,
    )
