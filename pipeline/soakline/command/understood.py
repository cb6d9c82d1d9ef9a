"""What `soakline check` understood of a run, as nested values: for its table and its JSON."""

import math
from dataclasses import asdict
from typing import Any

import numpy as np
from pyproj import CRS

from soakline.command.estimate import estimate
from soakline.inputs.rain_table import choose_columns
from soakline.inputs.survey import Survey
from soakline.inputs.types import Elevation, Features, Inputs
from soakline.runfile.sections import RunFile

Understood = dict[str, dict[str, Any]]


def understood(run: RunFile, inputs: Inputs, survey: Survey) -> Understood:
    """Gather what was read, in the order in which it is shown.

    Parameters
    ----------
    run : the run file
    inputs : all files, read and checked
    survey : what the DEM's headers tell

    Returns
    -------
    topic to name to figure; units end the names
    """
    return {
        "elevation": _elevation(run, inputs.elevation, survey),
        "property": {
            "name": inputs.property.name,
            "area_m2": round(inputs.property.area.area, 1),
            "parts": len(inputs.property.area.geoms),
            "covered_pct": round(inputs.property.covered_pct, 2),
        },
        "features": _features(inputs.features),
        "given": {"swale": _given(inputs.features)},
        "rain": {
            "durations_min": inputs.rain.duration_min.tolist(),
            "frequencies": list(inputs.rain.frequency),
            "design": run.rain.design,
            "check": _check_column(run, inputs),
            "uplift_pct": run.rain.uplift_pct,
        },
        "spacing": {
            "rule": run.spacing.rule,
            "mature_tree_height_m": run.spacing.mature_tree_height_m,
        },
        "section": {
            "base_width_m": run.section.base_width_m,
            "depth_m": run.section.depth_m,
            "batter": run.section.batter,
            "freeboard_m": run.section.freeboard_m,
        },
        "soil": {
            "texture": run.soil.texture,
            "ksat_mm_h": run.soil.ksat_mm_h,
            "clogging_factor": run.soil.clogging_factor,
            "amendment": run.soil.amendment,
            "curve_number": run.land.curve_number,
        },
        "earthworks": {
            "machine": inputs.works.machine.name,
            "rates": _rates(inputs.works.rates),
            "phase": run.earthworks.phase or "all at once",
            "as_built": _as_built(inputs),
        },
        "climate": {"weather": _weather(run, inputs)},
        "findings": {
            severity: [f"{f.code}: {f.message}" for f in inputs.findings if f.severity == severity]
            for severity in ("stop", "caution", "note")
        },
        "estimate": asdict(estimate(inputs.elevation.grid.cells)),
    }


def _elevation(run: RunFile, elevation: Elevation, survey: Survey) -> dict[str, Any]:
    grid = elevation.grid
    return {
        "files": [str(path) for path in run.dem_files()],
        "rows": grid.rows,
        "columns": grid.columns,
        "cell_m": grid.cell_m,
        "crs": CRS.from_wkt(grid.crs_wkt).name,
        "warped": survey.warped,
        "lowest_m": round(float(np.nanmin(elevation.dem_m)), 2),
        "highest_m": round(float(np.nanmax(elevation.dem_m)), 2),
        "valid_pct": round(100.0 * _valid_cells(elevation) / grid.cells, 2),
    }


def _valid_cells(elevation: Elevation) -> int:
    # Row by row: a mask of the whole grid would be a quarter of the DEM's own size again.
    return sum(int(np.isfinite(row).sum()) for row in elevation.dem_m)


def _features(features: Features) -> dict[str, Any]:
    counts = {name: len(getattr(features, name)) for name in Features.__dataclass_fields__}
    return {name: count for name, count in counts.items() if count}


def _given(features: Features) -> list[str]:
    """Each given swale in words."""
    told = []
    for row in features.given_swales.itertuples():
        level = "level of the lowest ground" if np.isnan(row.level_m) else f"{row.level_m:.2f} m"
        name = row.swale_id or "id by number"
        told.append(f"{name}: {row.state}, {row.geometry.length:.1f} m long, {level}")
    return told


def _check_column(run: RunFile, inputs: Inputs) -> str:
    """Head of the column that check storms are taken from."""
    columns = choose_columns(inputs.rain, run.rain.design, run.rain.check, run.rain.table)
    return inputs.rain.frequency[columns.check]


def _rates(rates: dict[str, float] | None) -> str:
    """The owner's table of rates in words."""
    return "none" if rates is None else f"items with a rate: {len(rates)}"


def _as_built(inputs: Inputs) -> str:
    """The survey of lips in words; whether its ids are there is known for given swales only."""
    survey = inputs.works.as_built
    if survey is None:
        return "none"
    others = sorted(set(survey.swale_ids) - set(inputs.features.given_swales["swale_id"]))
    told = f"{len(survey.levels)} levels on {len(survey.swale_ids)} swales"
    return told + (f", not among the given ones: {', '.join(others)}" if others else "")


def _weather(run: RunFile, inputs: Inputs) -> str:
    """The table of weather in words."""
    table = inputs.works.weather
    if table is None:
        return "none"
    columns = ", ".join(table.columns)
    if table.first_day is None:
        return f"monthly means of {columns}; days are made of them with seed {run.climate.seed}"
    return f"{table.columns['rain_mm'].size} days from {table.first_day} on: {columns}"


def as_text(facts: Understood) -> str:
    """The same as a table for reading: topic, name, figure with its unit."""
    lines = []
    for topic, values in facts.items():
        rows = _estimate(values) if topic == "estimate" else _rows(values)
        for row, (name, text) in enumerate(rows or [("none", "")]):
            lines.append(f"{topic if row == 0 else '':<10} {name:<22} {text}".rstrip())
    return "\n".join(lines)


_UNITS = {"m": "m", "m2": "m²", "pct": "%", "min": "min", "mm_h": "mm/h"}
_ZERO = {
    "base_width_m": "sized for the design storm",
    "depth_m": "sized for the design storm",
    "batter": "by texture",
    "ksat_mm_h": "by texture",
}


def _rows(values: dict[str, Any]) -> list[tuple[str, str]]:
    rows: list[tuple[str, str]] = []
    for name, value in values.items():
        if isinstance(value, list) and name in ("files", "swale", "stop", "caution", "note"):
            rows += [(name.replace("_", " "), str(item)) for item in value]
            continue
        rows.append(_row(name, value))
    return rows


def _row(name: str, value: Any) -> tuple[str, str]:
    suffix = next((s for s in sorted(_UNITS, key=len, reverse=True) if name.endswith(f"_{s}")), "")
    label = (name.removesuffix(f"_{suffix}") if suffix else name).replace("_", " ")
    if name in _ZERO and value == 0:
        return label, _ZERO[name]
    if isinstance(value, bool):
        return label, "yes" if value else "no"
    if isinstance(value, list):
        text = ", ".join(f"{v:g}" if isinstance(v, float) else str(v) for v in value)
    elif isinstance(value, int | float):
        text = f"{value:,.10g}"
    else:
        text = str(value)
    return label, f"{text} {_UNITS.get(suffix, '')}".strip()


def _estimate(values: dict[str, Any]) -> list[tuple[str, str]]:
    minutes = values["seconds"] / 60.0
    time = f"{math.ceil(minutes)} min" if minutes > 2.0 else f"{math.ceil(values['seconds'])} s"
    return [
        ("cells", f"{values['cells']:,}"),
        ("time", f"about {time} on two cores"),
        ("memory", f"about {values['memory_bytes'] / 2**30:.1f} GiB"),
        ("disk", f"about {values['disk_bytes'] / 1e6:,.0f} MB"),
    ]
