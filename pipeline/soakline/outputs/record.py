"""The run record: how a plan came about, key by key."""

import hashlib
import importlib.metadata
import os
import platform
from pathlib import Path

import pandas as pd
import pyogrio
import pyproj
import shapely

import soakline
from soakline import __version__, tables
from soakline.outputs.columns import SCHEMAS, frame
from soakline.outputs.designed import Designed
from soakline.runfile.defaults import used_keys
from soakline.store.keys import code_version, key_of

_LIBRARIES = (
    "numpy", "numba", "scipy", "richdem2", "rasterio", "pyogrio", "fiona", "pandas", "geopandas",
    "shapely", "contourpy", "networkx", "pydantic", "pyproj",
)  # fmt: skip
_TRAVEL = (
    "kinematic wave down each way, 5/3 of Manning's velocity of a sheet with the flow that a metre "
    "of sill passes at the greatest head"
)
_PEAKS = "routed: unit hydrographs, level pools down the chain, heads over the sills solved"


def record_table(
    plan: Designed, notes: tuple[str, ...], started: str, finished: str, timings_s: dict[str, float]
) -> pd.DataFrame:
    """The `run_record` table.

    Parameters
    ----------
    plan : Designed
    notes : how frequencies were matched
    started, finished : ISO 8601
    timings_s : by stage

    Returns
    -------
    key and value; only `started`, `finished`, `timing_*` and `host_*` differ between two runs of
    the same input
    """
    grid = plan.terrain.grid
    rows: list[tuple[str, str]] = [
        ("version", __version__),
        ("run_file", plan.run.file.name),
        ("run_file_sha256", plan.run.sha256),
        ("run_file_text", plan.run.text),
        ("crs", grid.crs_wkt),
        ("cell_size_m", f"{grid.cell_m:g}"),
        ("rows", str(grid.rows)),
        ("columns", str(grid.columns)),
        ("noise_m", f"{plan.terrain.noise_m:.4f}"),
        ("soaking_rate_mm_h", f"{1000 * plan.design.soak_m_h(plan.design.soil):g}"),
        *_treated(plan),
        ("routing_step_s", f"{plan.step_s:g}"),
        ("valid_m2", f"{int(plan.terrain.valid.sum()) * grid.cell_area_m2:.6f}"),
        ("bypass_m2", f"{plan.catchments.bypass_m2:.6f}"),
        ("allowed_m2", f"{plan.site.allowed_m2:.2f}"),
        ("level_interval_m", f"{plan.figures.level_interval_m:.6g}"),
        ("peaks", _PEAKS),
        ("travel_times", _TRAVEL),
    ]
    if plan.years is not None:
        years = plan.years
        rows += [
            ("weather_years", f"{years.rain_mm.size}, from {years.first_day}"),
            ("weather_repeated_years", str(years.repeated_years)),
            ("reference_evapotranspiration", years.method),
        ]
    machine = plan.inputs.works.machine
    by_group = ", ".join(f"{group} {rate:g}" for group, rate in machine.bank_m3_h.items())
    rows.append(("machine_m3_h", f"{machine.name}: {by_group} (source: {machine.source})"))
    for own, loss in zip(plan.event.land.classes, plan.event.losses, strict=True):
        rows.append((f"ground:{own.label}", str(loss)))
    rows += [
        (
            f"time_of_concentration_h:{plan.placed.lines[i].swale_id}",
            f"{hours:.3f} ({plan.run.rain.time_of_concentration})",
        )
        for i, hours in enumerate(plan.figures.tc_h)
    ]
    rows += [("rain_note", note) for note in notes]
    for used in used_keys(plan.run):
        rows.append((used.key, str(used.value)))
        if not used.given:
            rows.append((f"default:{used.key}", str(used.value)))
    for source in plan.inputs.sources:
        rows.append((f"input:{source.role}", f"{source.path} sha256={source.sha256}"))
    rows += [("program_sha256", program_version()), *_libraries()]
    rows += [("started", started), ("finished", finished)]
    rows += [(f"timing_{name}_s", f"{seconds:.3f}") for name, seconds in timings_s.items()]
    rows += [
        ("host_python", platform.python_version()),
        ("host_system", platform.platform()),
        ("host_cores", str(os.cpu_count())),
    ]
    return frame(SCHEMAS["run_record"], [{"key": k, "value": v} for k, v in rows])


def program_version() -> str:
    """SHA-256 over soakline's own code, the tables that ship with it, Python and the libraries."""
    package = Path(soakline.__file__).parent
    parts = sorted(path.name for path in package.iterdir() if (path / "__init__.py").is_file())
    modules = sorted(path.stem for path in package.glob("*.py"))
    shipped = {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(tables.folder().glob("*.csv"))
    }
    return key_of(code_version(*parts, *modules), shipped).digest


def _libraries() -> list[tuple[str, str]]:
    """Versions of libraries, and of what they are built on: a wheel's number does not tell it."""
    return [
        *((f"library:{name}", importlib.metadata.version(name)) for name in _LIBRARIES),
        ("library:gdal", ".".join(str(part) for part in pyogrio.__gdal_version__)),
        ("library:geos", shapely.geos_version_string),
        ("library:proj", pyproj.proj_version_str),
    ]


def _treated(plan: Designed) -> list[tuple[str, str]]:
    """How the soaking rate of each soil came about, where the base is treated."""
    design = plan.design
    if plan.run.soil.amendment == "none":
        return []
    rows = []
    for own in design.soils:
        factors = f"{own.ksat_mm_h:g} × {design.clogging_factor:g} (clogging)"
        amended = f"{own.amendment.soak_factor:g} ({own.amendment.name})"
        rate = f"{1000 * design.soak_m_h(own):g} = {factors} × {amended}"
        rows.append((f"soaking_rate_mm_h:{own.texture}", rate))
    return rows
