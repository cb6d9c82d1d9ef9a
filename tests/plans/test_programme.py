"""Quantities, costs and phases of whole plans, from the file, against routes and rates as given."""

from pathlib import Path
from typing import Any

import geopandas as gpd
import networkx as nx
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from shapely import LineString, box

from soakline import tables
from soakline.runfile.load import load_run_file
from soakline.stages.plan import make_plan
from soakline.stages.progress import Progress
from tests.plans.grounds import FORMS, REAL
from tests.terrain_analytic.ground import CENTRE_EASTING_M, CENTRE_NORTHING_M
from tests.terrain_analytic.run_folder import write_run

RATES = {
    "cut": ("m³", 1.25),
    "machine hours": ("h", 80.0),
    "bare earth to seed": ("m²", 0.35),
    "sill": ("m", 12.0),
    "pegs": ("number", 0.8),
}
OUTPUT = {
    row["machine"]: {group: float(row[f"{group}_m3_h"]) for group in ("sandy", "loamy", "clayey")}
    for row in tables.rows("machines.csv")
}

Layers = dict[str, pd.DataFrame]


def planned(
    folder: Path,
    name: str,
    keys: dict[str, Any],
    features: dict[str, gpd.GeoDataFrame] | None = None,
    **sections: dict[str, Any],
) -> tuple[Layers, int]:
    """Plan a ground with keys of the earthworks; layers from the file, and findings at stop."""
    form = FORMS.get(name) or REAL[name]
    dem, grid = form.dem()
    earthworks = {"rates": "rates.csv", **keys, **form.run.get("earthworks", {})}
    run = {**form.run, **sections, "earthworks": earthworks}
    folder.mkdir(exist_ok=True)
    rows = [f"{item},{unit},{rate}" for item, (unit, rate) in RATES.items()]
    (folder / "rates.csv").write_text("\n".join(["item,unit,rate", *rows]), encoding="utf-8")
    file = write_run(folder, dem, grid, run=run, features=features)
    outcome = make_plan(load_run_file(file), folder / "plan.gpkg", Progress())
    names = [
        "swales",
        "swale_ground",
        "overflow_routes",
        "quantities",
        "earthworks",
        "pegs",
        "spillways",
        "diversions",
        "findings",
    ]
    read = {own: pyogrio.read_dataframe(outcome.path, layer=own) for own in names}
    return read, outcome.stops


def dug_m3(layers: Layers) -> pd.Series:
    """All that is dug at each swale; trenches, and sills where ground stands over them."""
    earth = layers["earthworks"]
    own = earth.cut_m3 + earth.cut_between_m3 + earth.cut_below_m3
    return own + earth.cut_track_m3 + earth.cut_sill_m3


def overflow_graph(layers: Layers) -> "nx.DiGraph[str]":
    graph: nx.DiGraph[str] = nx.DiGraph()
    graph.add_nodes_from(layers["swales"].swale_id)
    routes = layers["overflow_routes"]
    routes = routes[routes.to_kind == "swale"]
    graph.add_edges_from(zip(routes.swale_id, routes.to_id, strict=True))
    return graph


@pytest.fixture(scope="module")
def by_budget(tmp_path_factory: pytest.TempPathFactory) -> tuple[Layers, int]:
    """Real ground with a chain and a swale without a safe end, built by budget."""
    folder = tmp_path_factory.mktemp("budget")
    name = "hillside, 3 m trees, 30 %"
    return planned(folder, name, {"phase": "budget", "budget": 2500.0})


def test_hours_follow_from_cut_and_the_machines_output(by_budget: tuple[Layers, int]) -> None:
    layers, _ = by_budget
    swales, quantities = layers["swales"], layers["quantities"].set_index("item")
    by_hand_h = (dug_m3(layers) / OUTPUT["excavator-5t"]["loamy"]).to_numpy()
    assert swales.machine_h.to_numpy() == pytest.approx(by_hand_h)
    row = quantities.loc["machine hours, excavator-5t in loam"]
    assert (row.unit, row.amount) == ("h", pytest.approx(swales.machine_h.sum()))


def test_amounts_are_those_of_the_layers(by_budget: tuple[Layers, int]) -> None:
    layers, _ = by_budget
    amount = layers["quantities"].set_index("item").amount
    ground = layers["swale_ground"]
    bare = ground.part.isin(["mound", "cut_slope"])
    assert amount["bare earth to seed"] == pytest.approx(ground.area_m2[bare].sum())
    assert amount["footprint"] == pytest.approx(ground.area_m2.sum())
    assert amount["pegs"] == len(layers["pegs"])
    assert amount["spillways"] == len(layers["spillways"])
    assert amount["sill"] == pytest.approx(layers["spillways"].sill_length_m.sum())
    assert amount["overflow route"] == pytest.approx(layers["overflow_routes"].length_m.sum())


def test_costs_are_amounts_at_the_owners_rates_to_the_cent(by_budget: tuple[Layers, int]) -> None:
    layers, _ = by_budget
    *rows, total = layers["quantities"].itertuples()
    costs = []
    for row in rows:
        unit, rate = RATES.get(row.item.partition(", excavator")[0], (row.unit, None))
        assert row.unit == unit
        if rate is None:
            assert pd.isna(row.rate)
            assert pd.isna(row.cost)
        else:
            assert row.rate == rate
            costs.append(row.amount * rate)
            assert row.cost == pytest.approx(costs[-1], abs=0.005)
    assert len(costs) == len(RATES)
    assert total.item.startswith("total")
    assert total.cost == pytest.approx(sum(costs), abs=0.005)
    assert layers["swales"].cost.sum() == pytest.approx(total.cost, abs=0.005)


def test_each_phase_reaches_safe_ends_without_those_after_it(by_budget: tuple[Layers, int]) -> None:
    layers, stops = by_budget
    swales = layers["swales"].set_index("swale_id")
    graph, findings = overflow_graph(layers), layers["findings"]
    assert graph.number_of_edges() > 0
    assert swales.phase.max() > 2
    for swale in graph:
        for below in nx.descendants(graph, swale):
            assert swales.phase[below] <= swales.phase[swale]
    unsafe = set(findings.feature_id[findings.code == "no_safe_end"])
    told = findings[findings.code == "phase_without_safe_end"]
    assert unsafe
    assert set(told.feature_id) == unsafe
    assert set(told.severity) == {"stop"}
    assert stops >= 2 * len(unsafe)
    assert swales.phase[list(unsafe)].min() > swales.phase.drop(list(unsafe)).max()


def test_each_phase_keeps_to_the_budget_and_is_dug_from_the_top(
    by_budget: tuple[Layers, int],
) -> None:
    layers, _ = by_budget
    swales = layers["swales"]
    over = swales.groupby("phase").cost.agg(["sum", "size"])
    assert ((over["sum"] <= 2500.0) | (over["size"] == 1)).all()
    in_order = swales.sort_values("build_order")
    assert in_order.build_order.tolist() == list(range(1, len(swales) + 1))
    assert in_order.phase.is_monotonic_increasing
    for _, own in in_order.groupby("phase"):
        assert own.level_m.is_monotonic_decreasing


def test_hours_a_year_are_a_limit_too_and_soils_have_their_own_rows(tmp_path: Path) -> None:
    """Clay over the western half of a plane; a 2 t machine, 40 h a year."""
    form = FORMS["plane"]
    _, grid = form.dem()
    west, south, east, north = grid.bounds
    clay = box(west, south, (west + east) / 2.0, north)
    soils = gpd.GeoDataFrame({"texture": ["clay"]}, geometry=[clay])
    keys = {"machine": "excavator-2t", "phase": "year", "hours_per_year": 40.0}
    layers, _ = planned(tmp_path, "plane", keys, {"soils": soils})
    swales, quantities = layers["swales"], layers["quantities"].set_index("item")
    lips = swales.geometry
    in_clay = (lips.intersection(clay).length / lips.length).to_numpy()
    assert in_clay.max() > 0.3
    hours = {
        "clay": dug_m3(layers) * in_clay / OUTPUT["excavator-2t"]["clayey"],
        "loam": dug_m3(layers) * (1.0 - in_clay) / OUTPUT["excavator-2t"]["loamy"],
    }
    for texture, own in hours.items():
        amount = quantities.amount[f"machine hours, excavator-2t in {texture}"]
        assert amount == pytest.approx(own.sum(), rel=1e-6)
    both = (hours["clay"] + hours["loam"]).to_numpy()
    assert swales.machine_h.to_numpy() == pytest.approx(both, rel=1e-6)
    years = swales.groupby("phase").machine_h.agg(["sum", "size"])
    assert ((years["sum"] <= 40.0) | (years["size"] == 1)).all()
    heavy = set(swales.swale_id[swales.machine_h > 40.0])
    findings = layers["findings"]
    assert set(findings.feature_id[findings.code == "phase_over_limit"]) == heavy


def test_single_swales_are_dug_downhill_and_a_chain_from_its_lower_end(
    tmp_path: Path,
) -> None:
    """One swale a year: on a plane all three are a chain, beside a valley none spills to another,
    and water runs straight down from the upper ones to the lower ones.
    """
    one = {"phase": "year", "swales_per_year": 1}
    chained, _ = planned(tmp_path / "plane", "plane", one)
    assert overflow_graph(chained).number_of_edges() == len(chained["swales"]) - 1
    downhill = chained["swales"].sort_values("level_m", ascending=False)
    assert downhill.phase.tolist() == list(range(len(downhill), 0, -1))
    findings = chained["findings"]
    early = findings.feature_id[findings.code == "phase_before_those_above"]
    assert set(early) == set(downhill.swale_id[1:])
    single, _ = planned(tmp_path / "valley", "valley", one)
    assert overflow_graph(single).number_of_edges() == 0
    downhill = single["swales"].sort_values(["level_m", "phase"], ascending=[False, True])
    assert downhill.phase.tolist() == list(range(1, len(downhill) + 1))
    assert not single["findings"].code.str.startswith("phase_").any()


def test_drains_are_counted_and_dug_by_the_machine_too(tmp_path: Path) -> None:
    """One drain at 0.4 % across the plane, above its second swale."""
    east, north = CENTRE_EASTING_M, CENTRE_NORTHING_M + 60.0
    line = LineString([(east + 100.0, north), (east - 100.0, north - 10.0)])
    drains = gpd.GeoDataFrame({"name": ["north"]}, geometry=[line])
    layers, _ = planned(tmp_path, "plane", {}, {"diversions": drains})
    swales, amount = layers["swales"], layers["quantities"].set_index("item").amount
    (drain,) = layers["diversions"].itertuples()
    dug = (drain.base_width_m + drain.batter * drain.depth_m) * drain.depth_m * drain.length_m
    assert amount["diversion drain"] == pytest.approx(drain.length_m)
    assert amount["diversion drain, cut"] == pytest.approx(dug)
    own = np.where(swales.swale_id == drain.swale_id, dug, 0.0)
    by_hand_h = (dug_m3(layers) + own).to_numpy() / OUTPUT["excavator-5t"]["loamy"]
    assert swales.machine_h.to_numpy() == pytest.approx(by_hand_h)


def test_a_machine_too_small_for_the_section_is_named_at_each_swale(tmp_path: Path) -> None:
    (tmp_path / "mine.csv").write_text(
        "machine,bucket_widths_m,dig_depth_m,reach_m,least_bend_m,sandy_m3_h,loamy_m3_h,"
        "clayey_m3_h,source\nwide,5,0.3,0.5,9,1,1,1,\n",
        encoding="utf-8",
    )
    keys = {"machine": "wide", "machines": "mine.csv"}
    layers, _ = planned(tmp_path, "plane", keys)
    findings = layers["findings"].set_index("code")
    assert set(findings.loc[["machine_unfit"], "feature_id"]) == set(layers["swales"].swale_id)
    for words in ("narrowest bucket, 5 m", "digs 0.3 m deep", "reaches 0.5 m"):
        assert findings.loc[["machine_unfit"], "message"].str.contains(words).all()
    # A plane has no bend that even this machine could not follow.
    assert "bend_too_tight" not in findings.index
    assert "none given" in findings.message["machine_hours_rough"]
    assert layers["swales"].phase.isna().all()
    assert np.array_equal(layers["swales"].build_order, np.arange(1, len(layers["swales"]) + 1))


def machine_table(folder: Path, least_bend_m: float) -> dict[str, str]:
    """Keys of a machine like others, but for the bend that it follows."""
    (folder / "mine.csv").write_text(
        "machine,bucket_widths_m,dig_depth_m,reach_m,least_bend_m,sandy_m3_h,loamy_m3_h,"
        f"clayey_m3_h,source\nlong,0.3 1.5,3,9,{least_bend_m:g},9,9,9,\n",
        encoding="utf-8",
    )
    return {"machine": "long", "machines": "mine.csv"}


def test_pieces_too_short_for_the_machine_are_left_out_and_counted(tmp_path: Path) -> None:
    name = next(iter(REAL))
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    before, _ = planned(tmp_path / "a", name, machine_table(tmp_path / "a", 0.0))
    after, _ = planned(tmp_path / "b", name, machine_table(tmp_path / "b", 40.0))
    assert before["swales"].length_m.min() < 40.0
    assert after["swales"].length_m.min() >= 40.0
    assert "short_for_machine" not in set(before["findings"].code)
    told = after["findings"].set_index("code").message["short_for_machine"]
    pieces = int(told.split()[0])
    assert pieces >= 1
    assert "shorter than 40 m, too short for long" in told


def test_bends_that_the_tolerance_does_not_widen_are_told(tmp_path: Path) -> None:
    """By the circle through each vertex and its neighbours, no measure of the program's.

    A machine that bends by 12 m, on ground where nearly every line bends by 6 m.
    """
    layers, _ = planned(tmp_path, next(iter(REAL)), machine_table(tmp_path, 12.0))
    swales, findings = layers["swales"], layers["findings"]
    told = findings[findings.code == "bend_too_tight"]
    tightest = []
    for line in swales.geometry:
        xy = shapely.get_coordinates(line)
        a, b = np.diff(xy[:-1], axis=0), np.diff(xy[1:], axis=0)
        across = np.hypot(*(xy[2:] - xy[:-2]).T)
        area2 = np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
        radius = np.hypot(*a.T) * np.hypot(*b.T) * across / np.maximum(2.0 * area2, 1e-9)
        tightest.append(float(radius.min(initial=np.inf)))
    tight = set(swales.swale_id[np.array(tightest) < 6.0])
    assert tight
    assert tight <= set(told.feature_id)
    assert told.message.str.contains("tighter than 12 m radius").all()
    # Wide ones are not told: no vertex of them turns within twice the radius.
    assert not set(swales.swale_id[np.array(tightest) > 24.0]) & set(told.feature_id)


def test_phases_drawn_up_by_the_owner_are_kept_and_judged(tmp_path: Path) -> None:
    """On a plane four swales are a chain. The plan's own layer comes back with a column: first the
    lowest two from the top, so that the upper one spills into one that is not there yet, then the
    lowest first; the other two have none, so they come last.
    """
    consent = {"allow_property_edge": True, "neighbour_consent": "in writing"}
    plain, _ = planned(tmp_path / "plain", "plane", {}, overflow=consent)
    by_level = plain["swales"].sort_values("level_m", ascending=False)
    top, second, middle, low = by_level.swale_id
    again = by_level[["swale_id", "geometry"]]

    def given(**phase: float) -> tuple[Layers, dict[str, str], int]:
        own = again.assign(stage=again.swale_id.map(phase))
        keys, features = {"phase": "stage"}, {"given_swales": own}
        layers, stops = planned(tmp_path / "given", "plane", keys, features, overflow=consent)
        findings = layers["findings"]
        told = findings[findings.code == "phase_without_safe_end"]
        phases = layers["swales"].set_index("swale_id").phase
        last = max(phase.values()) + 1
        assert phases.to_dict() == {top: last, second: last, **phase}
        return layers, dict(zip(told.feature_id, told.message, strict=True)), stops

    layers, told, stops = given(**{middle: 1, low: 2})
    assert list(told) == [middle]
    assert (
        f"phase 1 is not safe on its own: the overflow of this swale runs into {low}"
        in (told[middle])
    )
    assert stops == 1
    assert layers["swales"].sort_values("build_order").swale_id.tolist() == [
        middle,
        low,
        top,
        second,
    ]
    assert told[middle].endswith("dug in phase 2")
    _, told, stops = given(**{middle: 2, low: 1})
    assert (told, stops) == ({}, 0)
    _, told, _ = given(**{second: 1, middle: 2, low: 3})
    assert told[second].endswith(f"{middle}, {low}, dug in phases 2 to 3")
