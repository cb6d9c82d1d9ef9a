"""Swales drawn all at once: each as if it were alone, and as set operations would draw it."""

from dataclasses import fields, replace

import numpy as np
import pytest
import shapely

from soakline.grid import FloatArray
from soakline.section.aslant import no_tracks
from soakline.section.footprint import Footprint
from soakline.section.mound import MoundShape, MoundShapes, toe_m
from soakline.section.pegs import Pegs, set_pegs
from soakline.section.stations import Chainages, LipStations, starts_of
from soakline.section.strips import empty_areas, strips
from soakline.section.trench import Trench, daylight_m
from soakline.section.works import FollowedLips, GroundWorks, works_of
from tests.section.lips import curved, no_other, straight
from tests.terrain_analytic.ground import CENTRE_EASTING_M, CENTRE_NORTHING_M, cone, sample

# Open lips and bends so tight that trench, mound or both fold over; with and without a mound.
LIPS = [
    straight(100.0),
    curved(30.0, inward=True),
    curved(30.0, inward=False),
    curved(7.0, inward=True),
    curved(2.5, inward=False),
    curved(2.0, inward=True),
    curved(3.0, inward=False, turn=0.8),
    curved(3.5, inward=True, turn=0.8),
    straight(60.0, slope=0.02, above_m=0.05),
]
SECTIONS = [Trench(1.5, 0.5, 1.5), Trench(0.6, 0.3, 1.0), Trench(2.4, 0.6, 2.0)] * 3
SILLS: list[list[tuple[float, float]]] = [
    [(0.0, 4.0)],
    [(10.0, 12.0), (14.0, 16.0)],
    [(39.0, 43.0)],
    [(4.0, 6.0)],
    [],
    [(0.5, 1.5)],
    [(6.0, 8.0)],
    [(0.0, 2.0)],
    [(20.0, 30.0)],
]
HEIGHT = np.array([0.25, 0.3, 0.25, 0.2, 0.25, 0.4, 0.25, 0.25, 0.0])
# Where no mound stands the sill is cut lower.
DROP_M = np.array([0.0] * 8 + [0.1])
HEAD = np.array([0.1, 0.05, 0.1, 0.02, 0.1, 0.1, 0.1, 0.1, 0.1])
PARTS = [field.name for field in fields(Footprint)]


def together(lips: list[LipStations]) -> LipStations:
    start = starts_of(np.array([own.rise.size for own in lips]))
    at = Chainages(start, np.concatenate([own.at.along_m for own in lips]))
    others = [
        np.concatenate([getattr(own, field.name) for own in lips])
        for field in fields(LipStations)[1:]
    ]
    return LipStations(at, *others)


BERMS = {
    "none": np.zeros(len(LIPS)),
    "all": np.full(len(LIPS), 0.6),
    "some": np.array([0.6, 0.0, 0.6, 0.6, 0.0, 0.0, 0.6, 0.0, 0.6]),
}


def works(which: list[int], berm_m: FloatArray) -> GroundWorks:
    lips = together([LIPS[i] for i in which])
    return works_of(
        FollowedLips(lips, lips, lips),
        [SECTIONS[i] for i in which],
        DROP_M[which],
        MoundShapes(berm_m[which], 2.0, 0.5),
        HEIGHT[which],
        HEAD[which],
        [SILLS[i] for i in which],
        no_tracks(),
        empty_areas(len(which)),
        1.125,
        no_other(len(which)),
    )


@pytest.mark.parametrize("berm_m", BERMS.values(), ids=BERMS)
def test_each_swale_is_as_if_it_were_alone(berm_m: FloatArray) -> None:
    every = works(list(range(len(LIPS))), berm_m)
    for i in range(len(LIPS)):
        alone = works([i], berm_m)
        for field in fields(alone.volumes):
            one, among = getattr(alone.volumes, field.name), getattr(every.volumes, field.name)
            assert among[i] == one[0], field.name
        for part in PARTS:
            one, among = getattr(alone.footprint, part)[0], getattr(every.footprint, part)[i]
            assert shapely.equals_exact(among, one), part


def by_set_operations(i: int, crest_m: float, berm_m: float) -> dict[str, shapely.Geometry]:
    """Slow twin of the footprint: every part cut from all that comes before it."""
    lip, trench, shape = LIPS[i], SECTIONS[i], MoundShape(berm_m, 2.0, 0.5)
    zero = np.zeros_like(lip.rise)
    full = zero + trench.top_width_m
    edge = daylight_m(trench, lip.ground_above_m, lip.rise)
    shore = zero + trench.batter * DROP_M[i]
    ponded = strips(lip, shore, full - shore)[0]
    dug = [strips(lip, zero, shore)[0], strips(lip, full - shore, edge)[0]]
    cut = shapely.union_all(dug) - ponded
    berm = strips(lip, zero - berm_m, zero)[0] - ponded - cut if berm_m else shapely.Polygon()
    length = float(lip.at.along_m[-1])
    edges = [0.0, *(edge for sill in SILLS[i] for edge in sill), length]
    pieces, free = [], [ponded, cut, berm]

    def stretch(start: float, end: float) -> LipStations:
        return lip.between(np.array([0]), np.array([start]), np.array([end]))

    for start, end in zip(edges[::2], edges[1::2], strict=True):
        if HEIGHT[i] == 0.0 or end - start < 3.0:
            continue
        own = stretch(start, end)
        at = np.full_like(own.rise, HEIGHT[i])
        toe = toe_m(shape, at, np.full_like(at, crest_m), own.ground_above_m, own.fall)
        pieces.append(strips(own, -toe, np.full_like(toe, -berm_m))[0])
        for k, outward, is_end in ((0, -1.0, start == 0.0), (-1, 1.0, end == length)):
            if is_end:
                left = np.array([own.left_east[k], own.left_north[k]])
                foot = np.array([own.easting_m[k], own.northing_m[k]])
                above = float(own.ground_above_m[k])
                width = min(4.0 * (HEIGHT[i] - above) + 0.5, 1.5)
                uphill = min(max((HEAD[i] - above) / own.rise[k], 0.0), 6.0)
                ahead = foot + width * outward * np.array([left[1], -left[0]])
                ring = [foot - toe[k] * left, foot + uphill * left, ahead, ahead - toe[k] * left]
                pieces.append(shapely.make_valid(shapely.Polygon(ring)))
    for start, end in SILLS[i]:
        own = stretch(start, end)
        below = np.full_like(own.rise, -3.0)
        free.append(strips(own, below, np.zeros_like(below))[0])
    mound = shapely.union_all(pieces) - shapely.union_all(free)
    return {"ponded": ponded, "cut_slope": cut, "berm": berm, "mound": mound}


@pytest.mark.parametrize("berm_m", BERMS.values(), ids=BERMS)
def test_parts_are_those_of_set_operations(berm_m: FloatArray) -> None:
    every = works(list(range(len(LIPS))), berm_m)
    for i in range(len(LIPS)):
        slow = by_set_operations(i, float(every.volumes.crest_width_m[i]), float(berm_m[i]))
        for part in PARTS:
            drawn = getattr(every.footprint, part)[i]
            # Slivers under 1e-4 m² are left out of the plan.
            assert shapely.symmetric_difference(drawn, slow[part]).area < 1e-3, (i, part)
        assert (every.footprint.mound[i].area > 0.0) == (slow["mound"].area > 1e-4)


def test_a_stretch_has_the_ground_of_the_lip_between_its_stations() -> None:
    lip = replace(straight(20.0), rise=np.array([0.02, 0.04, 0.06, 0.08, 0.10]))
    part = together([straight(50.0), lip]).between(
        np.array([1, 1]), np.array([0.0, 7.5]), np.array([5.0, 16.0])
    )
    assert part.at.start.tolist() == [0, 2, 6]
    assert part.at.along_m.tolist() == [0.0, 5.0, 7.5, 10.0, 15.0, 16.0]
    assert part.rise == pytest.approx([0.02, 0.04, 0.05, 0.06, 0.08, 0.084])
    assert part.easting_m == pytest.approx(part.at.along_m)


def test_pegs_of_each_lip_are_as_if_it_were_alone() -> None:
    dem, grid = sample(cone(10.0), width_m=200.0)
    centre = np.array([CENTRE_EASTING_M, CENTRE_NORTHING_M])
    angle = np.linspace(0.0, 1.5, 25)[:, None]
    lines = [
        centre + radius * np.hstack([np.cos(angle), np.sin(angle)]) for radius in (20, 41.7, 70)
    ]
    level = np.array([398.0, 395.8, 393.0])
    # One sill is where a bend is, one begins where the lip does, to less than a millimetre.
    bend = float(np.hypot(*(lines[1][1] - lines[1][0])))
    sills = [[5.0], [bend + 0.0004, 0.0004], []]

    def pegs(which: list[int]) -> Pegs:
        own = [lines[i] for i in which]
        return set_pegs(own, level[which], [sills[i] for i in which], 3.0, 9.0, 9.0, dem, grid)

    every = pegs([0, 1, 2])
    for i in range(3):
        alone, own = pegs([i]), every.stations.at.lip == i
        assert every.kind[own].tolist() == alone.kind.tolist()
        assert every.ground_m[own].tolist() == alone.ground_m.tolist()
        assert every.stations.at.along_m[own].tolist() == alone.stations.at.along_m.tolist()
        assert every.stations.rise[own].tolist() == alone.stations.rise.tolist()
    middle = every.kind[every.stations.at.lip == 1].tolist()
    assert middle[:3] == ["start", "sill", "bend"]
    assert middle.count("sill") == 1


def test_where_there_is_no_swale_there_are_no_works() -> None:
    dem, grid = sample(cone(10.0), width_m=50.0)
    none = np.empty(0)
    pegs = set_pegs([], none, [], 3.0, 9.0, 9.0, dem, grid)
    shape, filled = MoundShapes(none, 2.0, 0.5), empty_areas(0)
    done = works_of(
        FollowedLips(pegs.stations, pegs.stations, pegs.stations),
        [],
        none,
        shape,
        none,
        none,
        [],
        no_tracks(),
        filled,
        1.125,
        no_other(0),
    )
    assert done.volumes.cut_m3.size == done.footprint.area_m2.size == pegs.kind.size == 0
