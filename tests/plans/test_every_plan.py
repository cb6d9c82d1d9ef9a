"""What holds for every plan, whatever the ground: read from the file as a user's GIS would."""

import networkx as nx
import numpy as np
import pandas as pd
import pytest
import shapely

from tests.plans.grounds import FORMS, PlanGround, Planned, along_m

pytestmark = [pytest.mark.slow, pytest.mark.parametrize("name", FORMS)]


def test_every_lip_is_dead_level_with_uphill_on_its_left(
    plan_ground: PlanGround, name: str
) -> None:
    planned = plan_ground(name)
    assert len(planned.swales) > 0
    for level, line in zip(planned.swales.level_m, planned.swales.geometry, strict=True):
        assert shapely.get_coordinates(line, include_z=True)[:, 2] == pytest.approx(
            level, abs=0.001
        )
        places = along_m(line, 2.0)
        east, north = np.gradient(places, axis=0).T
        left = 3.0 * np.column_stack([-north, east]) / np.hypot(east, north)[:, None]
        rise = planned.ground_at(places + left) - planned.ground_at(places - left)
        assert rise.mean() > 0.0
        assert (rise > 0.0).mean() > 0.95


def test_ground_along_every_lip_is_within_the_tolerance(plan_ground: PlanGround, name: str) -> None:
    """Cut through high spots up to 0.15 m, never filled over low ones but for 0.03 m."""
    planned = plan_ground(name)
    for swale, line in zip(planned.swales.itertuples(), planned.swales.geometry, strict=True):
        places = np.vstack([along_m(line, 0.05), shapely.get_coordinates(line)])
        above = planned.ground_at(places) - swale.level_m
        assert above.min() >= -0.03
        assert above.max() <= 0.15
        # The layer's own figures are those of stations, so they lie inside what is found here.
        assert swale.ground_min_m >= above.min() - 1e-4
        assert swale.ground_max_m <= above.max() + 1e-4


def test_a_400_m_lip_has_tens_of_vertices(plan_ground: PlanGround, name: str) -> None:
    swales = plan_ground(name).swales
    vertices = shapely.get_num_coordinates(swales.geometry.array)
    # A small ring bends all the way round; straight country needs a vertex every 30 m.
    assert np.all(vertices <= 12 + swales.length_m.to_numpy() / 8.0)
    assert vertices.sum() <= 60 * max(1.0, swales.length_m.sum() / 400.0)


def test_lengths_stay_within_the_limits(plan_ground: PlanGround, name: str) -> None:
    swales = plan_ground(name).swales
    assert swales.length_m.to_numpy() == pytest.approx(shapely.length(swales.geometry.array))
    assert swales.length_m.min() >= 20.0
    assert swales.length_m.max() <= 400.0
    assert swales.catchment_m2.min() >= 200.0


def test_lips_on_one_level_line_end_5_m_apart(plan_ground: PlanGround, name: str) -> None:
    swales = plan_ground(name).swales
    for _, own in swales.groupby("level_m"):
        lips = own.geometry.array
        apart = shapely.distance(np.asarray(lips)[:, None], np.asarray(lips)[None, :])
        assert np.all(apart[~np.eye(len(own), dtype=bool)] >= 5.0 - 0.05)


def test_footprints_keep_a_metre_between_them(plan_ground: PlanGround, name: str) -> None:
    shapes = np.asarray(plan_ground(name).footprints)
    near, other = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=0.999)
    assert near[near != other].tolist() == []


def test_parts_of_a_footprint_do_not_overlap(plan_ground: PlanGround, name: str) -> None:
    planned = plan_ground(name)
    for swale_id, own in planned.layer("swale_ground").groupby("swale_id"):
        parts = own.geometry.array
        assert shapely.is_valid(parts).all()
        assert own.area_m2.to_numpy() == pytest.approx(shapely.area(parts))
        together = shapely.area(shapely.union_all(parts))
        assert together == pytest.approx(own.area_m2.sum(), abs=1e-3 * len(own)), swale_id


def test_footprints_keep_every_setback(plan_ground: PlanGround, name: str) -> None:
    """3 m inside the boundary, 10 m from drainage lines; lips off steep and wet ground."""
    planned = plan_ground(name)
    footprints = np.asarray(planned.footprints)
    edge = planned.layer("property").geometry[0]
    assert shapely.within(footprints, shapely.buffer(edge, -3.0 + 1e-6)).all()
    for line in planned.layer("drainage_lines").geometry:
        assert shapely.distance(footprints, line).min() >= 10.0 - 1e-6
    excluded = planned.layer("excluded_ground")
    steep = shapely.union_all(excluded.geometry[excluded.reason == "too_steep"].array)
    for line in planned.swales.geometry:
        # Bridged over steep ground for 10 m at most.
        over = shapely.get_parts(shapely.intersection(shapely.force_2d(line), steep))
        assert shapely.length(shapely.line_merge(shapely.union_all(over))) <= 10.0 + 2.0


def test_excluded_and_allowed_ground_make_up_the_property(
    plan_ground: PlanGround, name: str
) -> None:
    planned = plan_ground(name)
    excluded = planned.layer("excluded_ground")
    parts = excluded.geometry.array
    whole = shapely.union_all(parts)
    area = planned.layer("property").area_m2[0]
    assert excluded.area_m2.to_numpy() == pytest.approx(shapely.area(parts))
    assert shapely.area(whole) == pytest.approx(excluded.area_m2.sum(), rel=1e-6)
    edge = planned.layer("property").geometry[0]
    allowed = shapely.area(shapely.difference(edge, whole))
    assert allowed + excluded.area_m2.sum() == pytest.approx(area, rel=0.005)


def test_slope_classes_make_up_the_property(plan_ground: PlanGround, name: str) -> None:
    planned = plan_ground(name)
    classes = planned.layer("slope_classes")
    area = planned.layer("property").area_m2[0]
    assert classes.area_m2.sum() == pytest.approx(area, rel=1e-9)
    assert shapely.area(shapely.union_all(classes.geometry.array)) == pytest.approx(area, rel=1e-6)


def test_catchments_are_disjoint_and_hold_their_swale_s_water(
    plan_ground: PlanGround, name: str
) -> None:
    planned = plan_ground(name)
    catchments = planned.layer("swale_catchments")
    shapes = catchments.geometry.array
    assert catchments.area_m2.to_numpy() == pytest.approx(shapely.area(shapes))
    together = shapely.area(shapely.union_all(shapes))
    assert together == pytest.approx(catchments.area_m2.sum(), rel=1e-9)
    ground = planned.layer("swale_ground")
    ponded = ground[ground.part == "ponded"].groupby("swale_id").area_m2.sum()
    merged = catchments.set_index("swale_id")
    assert merged.ponded_m2.to_numpy() == pytest.approx(ponded[merged.index].to_numpy())
    dry_m3 = merged.runoff_mm * (merged.area_m2 - merged.ponded_m2) / 1000.0
    assert merged.runoff_m3.to_numpy() == pytest.approx(dry_m3.to_numpy(), rel=1e-9)
    swales = planned.swales.set_index("swale_id")
    assert swales.catchment_m2[merged.index].to_numpy() == pytest.approx(merged.area_m2.to_numpy())


def test_water_of_every_storm_is_accounted_for(plan_ground: PlanGround, name: str) -> None:
    """Inflow = own runoff + rain on the water + received = stored + soaked + spilled, to 1e-6."""
    planned = plan_ground(name)
    each = planned.layer("swale_storms").merge(planned.layer("storms"), on="storm_id")
    each = each.merge(planned.layer("swale_catchments")[["swale_id", "ponded_m2"]], on="swale_id")
    inflow = each.runoff_m3 + each.received_m3 + each.ponded_m2 * each.depth_mm / 1000.0
    assert each.inflow_m3.to_numpy() == pytest.approx(inflow.to_numpy(), rel=1e-6)
    left = each.stored_m3 + each.infiltrated_m3 + each.overflow_m3
    assert left.to_numpy() == pytest.approx(each.inflow_m3.to_numpy(), rel=1e-6, abs=1e-9)
    assert (each[["stored_m3", "infiltrated_m3", "overflow_m3"]] >= 0.0).all(axis=None)
    passed = handed_down(planned)
    for storm_id, own in each.groupby("storm_id"):
        spilled = own.set_index("swale_id").overflow_m3
        received = pd.Series(0.0, index=spilled.index)
        for one, other, share in passed:
            received[other] += share * spilled[one]
        assert own.set_index("swale_id").received_m3.to_numpy() == pytest.approx(
            received.to_numpy(), rel=1e-6, abs=1e-6
        ), storm_id


def handed_down(planned: Planned) -> list[tuple[str, str, float]]:
    """From swale, to swale and share of the overflow, by the lengths of the sills."""
    sills = planned.layer("spillways").set_index("spillway_id").sill_length_m
    total = planned.layer("spillways").groupby("swale_id").sill_length_m.sum()
    return [
        (route.swale_id, route.to_id, sills[route.spillway_id] / total[route.swale_id])
        for route in planned.layer("overflow_routes").itertuples()
        if route.to_kind == "swale"
    ]


def test_overflow_runs_down_and_never_in_a_circle(plan_ground: PlanGround, name: str) -> None:
    planned = plan_ground(name)
    graph = nx.DiGraph()
    graph.add_nodes_from(planned.swales.swale_id)
    graph.add_edges_from((one, other) for one, other, _ in handed_down(planned))
    assert nx.is_directed_acyclic_graph(graph)
    level = planned.swales.set_index("swale_id").level_m
    assert all(level[one] > level[other] for one, other in graph.edges)


def test_a_swale_without_a_stop_reaches_a_safe_end(plan_ground: PlanGround, name: str) -> None:
    """Followed here through the routes alone; hollows are left to the plan's own judgement."""
    planned = plan_ground(name)
    routes = planned.layer("overflow_routes")
    findings = planned.layer("findings")
    stopped = set(findings.feature_id[findings.code == "no_safe_end"])
    assert stopped <= set(planned.swales.swale_id)

    def ends(swale_id: str) -> list[str]:
        own = routes[routes.swale_id == swale_id]
        return (
            ["nowhere"]
            if own.empty
            else [
                kind
                for route in own.itertuples()
                for kind in (ends(route.to_id) if route.to_kind == "swale" else [route.to_kind])
            ]
        )

    for swale_id in planned.swales.swale_id:
        unsafe = {"property_edge", "nowhere"} & set(ends(swale_id))
        if unsafe:
            assert swale_id in stopped
        elif "hollow" not in ends(swale_id):
            assert swale_id not in stopped


def test_every_route_starts_on_its_sill_and_never_rises(plan_ground: PlanGround, name: str) -> None:
    planned = plan_ground(name)
    sills = planned.layer("spillways").set_index("spillway_id")
    lips = planned.swales.set_index("swale_id").geometry
    cell_m = planned.grid.cell_m
    rims = {
        "swale": lips,
        "drainage_line": planned.layer("drainage_lines").set_index("line_id").geometry,
        "hollow": planned.layer("hollows").set_index("hollow_id").geometry.boundary,
    }
    edge = planned.layer("property").geometry[0].boundary
    for route in planned.layer("overflow_routes").itertuples():
        places = shapely.get_coordinates(route.geometry, include_z=True)
        sill = shapely.get_coordinates(sills.geometry[route.spillway_id], include_z=True)[0]
        assert places[0].tolist() == sill.tolist()
        assert sill[2] == sills.sill_level_m[route.spillway_id]
        assert np.all(np.diff(places[:, 2]) <= 0.0)
        assert route.drop_m == pytest.approx(places[0, 2] - places[-1, 2])
        assert route.length_m == pytest.approx(route.geometry.length)
        end = edge if route.to_kind == "property_edge" else rims[route.to_kind][route.to_id]
        assert shapely.distance(end, shapely.points(places[-1, :2])) <= cell_m
        assert shapely.distance(lips[route.swale_id], shapely.points(sill[:2])) < 1e-6


def test_every_swale_has_sills_that_pass_its_peak_at_the_head(
    plan_ground: PlanGround, name: str
) -> None:
    """Q = C L h^1.5 at C 1.45: no more than 0.10 m over sills that are long enough."""
    planned = plan_ground(name)
    spillways = planned.layer("spillways")
    peak = 1.45 * spillways.sill_length_m * spillways.check_head_m**1.5
    assert peak.to_numpy() == pytest.approx(spillways.peak_m3s.to_numpy(), rel=1e-6)
    assert spillways.sill_length_m.min() >= 1.0 - 1e-9
    assert spillways.sill_length_m.max() <= 30.0 + 1e-9
    # None is laid much longer than its peak asks for: a metre each, and what routing settled on.
    wanted = spillways.peak_m3s / (1.45 * 0.10**1.5)
    assert np.all(spillways.sill_length_m <= np.maximum(1.1 * wanted, 1.0) + 1.0)
    findings = planned.layer("findings")
    told = set(findings.feature_id[findings.code.str.contains("sill")])
    assert set(spillways.swale_id[spillways.check_head_m > 0.10 + 1e-9]) <= told


def test_pegs_stand_on_the_lip_at_most_10_m_apart(plan_ground: PlanGround, name: str) -> None:
    planned = plan_ground(name)
    lips = planned.swales.set_index("swale_id")
    for swale_id, pegs in planned.layer("pegs").groupby("swale_id"):
        assert pegs.kind.iloc[[0, -1]].tolist() == ["start", "end"]
        assert np.diff(pegs.chainage_m).max() <= 10.0 + 1e-9
        assert np.diff(pegs.chainage_m).min() > 0.0
        assert pegs.chainage_m.iloc[-1] == pytest.approx(lips.length_m[swale_id])
        on = shapely.distance(np.asarray(pegs.geometry.array), lips.geometry[swale_id])
        assert on.max() < 1e-6
        assert pegs.level_m.to_numpy() == pytest.approx(lips.level_m[swale_id], abs=0.001)
        ground = planned.ground_at(shapely.get_coordinates(pegs.geometry.array))
        assert pegs.ground_m.to_numpy() == pytest.approx(ground, abs=1e-3)
        assert pegs.cut_m.to_numpy() == pytest.approx(pegs.ground_m - pegs.base_level_m)
    # Every sill has a peg within the quarter metre at which two pegs are one.
    for sill in planned.layer("spillways").itertuples():
        own = planned.layer("pegs")
        own = np.asarray(own.geometry[own.swale_id == sill.swale_id].array)
        assert shapely.distance(own, sill.geometry).min() < 0.26


def test_finding_codes_come_with_advice_and_a_layer_that_exists(
    plan_ground: PlanGround, name: str
) -> None:
    findings = plan_ground(name).layer("findings")
    assert set(findings.severity) <= {"note", "caution", "stop"}
    assert findings.message.str.len().min() > 10
    assert not findings.duplicated(["code", "layer", "feature_id", "message"]).any()


def test_the_spoil_of_every_swale_is_accounted_for(plan_ground: PlanGround, name: str) -> None:
    earth = plan_ground(name).layer("earthworks")
    came = (earth.spoil_m3 + earth.short_m3).to_numpy()
    went = earth.made_up_m3 + earth.mound_m3 + earth.returns_m3 + earth.track_fill_m3
    went = (went + earth.spread_m3 + earth.left_over_m3).to_numpy()
    assert came == pytest.approx(went, rel=1e-5)
    assert came.min() > 0.0


def test_closer_swales_are_advised_only_where_they_would_help(
    plan_ground: PlanGround, name: str
) -> None:
    """What its own strip sheds a swale may hold by itself: then only those above it would help."""
    planned = plan_ground(name)
    swales = planned.swales.set_index("swale_id")
    strip_m = swales.catchment_m2 / swales.length_m
    findings = planned.layer("findings")
    short = findings[findings.code == "capacity_short"]
    for own, message in zip(short.feature_id, short.message, strict=True):
        closer = strip_m[own] > swales.spacing_runoff_m[own]
        assert (f"swales {swales.spacing_runoff_m[own]:.0f} m apart or closer" in message) == closer
        assert closer or "less from above" in message


def test_every_way_over_the_mound_of_another_swale_is_told_and_no_other(
    plan_ground: PlanGround, name: str
) -> None:
    planned = plan_ground(name)
    mounds = planned.layer("swale_ground").query("part == 'mound'")
    over = set()
    for route in planned.layer("overflow_routes").itertuples():
        others = mounds[mounds.swale_id != route.swale_id]
        if others.intersection(route.geometry).length.max() > 0.3:
            over.add(route.route_id)
    findings = planned.layer("findings")
    assert set(findings[findings.code == "route_over_mound"].feature_id) == over
