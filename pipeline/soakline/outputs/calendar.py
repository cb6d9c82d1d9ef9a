"""The `calendar` table: what is done in which month of which year, where, and how much of it."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from soakline.grid import BoolArray, FloatArray
from soakline.outputs.columns import SCHEMAS, frame
from soakline.outputs.designed import Designed
from soakline.outputs.programme import Programme, to_dig
from soakline.outputs.trees import shade_columns
from soakline.planting.choice import MAIN_GROUPS
from soakline.planting.trees import BANDS, Trees
from soakline.section.stations import IntArray
from soakline.works.seasons import Seasons, seasons_of
from soakline.years.balance import Years

_NAMED = 6
_EARLY = ("pioneer", "nitrogen fixer")


@dataclass(frozen=True, slots=True)
class Task:
    """One thing to do.

    Parameters
    ----------
    month : from January of year 1, 0
    task, where, unit, advice : in words
    amount : in the unit; NaN where there is none to tell
    """

    month: int
    task: str
    where: str
    amount: float
    unit: str
    advice: str


def calendar_table(plan: Designed, programme: Programme) -> pd.DataFrame:
    """What is done when; no row where no weather tells the seasons."""
    tasks: list[Task] = []
    if plan.years is not None:
        tasks = sorted(_Calendar(plan, programme, plan.years).tasks(), key=lambda own: own.month)
    return frame(
        SCHEMAS["calendar"],
        [
            {
                "year": own.month // 12 + 1,
                "month": own.month % 12 + 1,
                "task": own.task,
                "where": own.where,
                "amount": own.amount,
                "unit": own.unit or None,
                "advice": own.advice,
            }
            for own in tasks
        ],
    )


class _Calendar:
    """The works of a plan, spread over the months."""

    def __init__(self, plan: Designed, programme: Programme, years: Years) -> None:
        self._plan, self._years = plan, years
        self._seasons: Seasons = seasons_of(years.rain_of_month_mm, years.et0_of_month_mm)
        dug = to_dig(plan).astype(np.int64)
        # What is built already is planted and looked after from year 1 on.
        self._phase: IntArray = np.maximum(dug if programme.phase is None else programme.phase, 1)
        self._to_dig = to_dig(plan)
        self._seeded_m2 = _of_item(programme, "bare earth to seed")

    def tasks(self) -> Iterator[Task]:
        for phase in range(1, int(self._phase.max(initial=0)) + 1):
            own = self._phase == phase
            begin = 12 * (phase - 1) + self._seasons.dry
            yield from self._dug(own & self._to_dig, begin)
            yield from self._planted(own, begin)
            yield from self._thinned(own, begin)
            yield from self._desilted(own, begin)
        yield from self._inspected()

    def _after(self, begin: int, month: int) -> int:
        """The first month of that name after another."""
        return begin + 1 + (month - begin - 1) % 12

    def _where(self, which: BoolArray) -> str:
        ids = [line.swale_id for line in self._plan.placed.lines]
        named = [ids[i] for i in np.flatnonzero(which).tolist()]
        if len(named) == len(ids) > 1:
            return f"all {len(ids)} swales"
        if len(named) > _NAMED:
            return f"{len(named)} swales: {', '.join(named[:_NAMED])} and others"
        return ", ".join(named)

    def _dug(self, which: BoolArray, begin: int) -> Iterator[Task]:
        if not which.any():
            return
        where, plan = self._where(which), self._plan
        pegs = np.bincount(plan.pegs.stations.at.lip, minlength=which.size)
        if plan.pegs_are_set:
            yield Task(
                max(begin - 1, 0),
                "set out",
                where,
                float(pegs[which].sum()),
                "pegs",
                "levels from an instrument on site; have services located, ask for permits",
            )
        yield Task(
            begin,
            "dig",
            where,
            float(plan.works.volumes.cut_m3[which].sum()),
            "m³",
            "in order of build_order, from the top down; sills last; keep people out of deep faces",
        )
        yield Task(
            self._after(begin, self._seasons.soak),
            "seed bare earth",
            where,
            float(self._seeded_m2[which].sum()),
            "m²",
            "after the first rain that soaks the ground; mulch sills and routes until grass stands",
        )

    def _planted(self, which: BoolArray, begin: int) -> Iterator[Task]:
        plan, trees = self._plan, self._plan.trees
        here = which[trees.lip]
        month = self._after(self._after(begin, self._seasons.soak), self._seasons.plant)
        group = np.array([own.group for own in trees.table], dtype=object)[trees.species]
        for year in np.unique(trees.year[here]).tolist():
            for name in dict.fromkeys(own.group for own in trees.table):
                planted = here & (trees.year == year) & (group == name)
                if not planted.any():
                    continue
                count = np.bincount(trees.lip[planted], minlength=which.size)
                ring = np.pi / 4.0 * plan.run.planting.mulch_ring_m**2
                mulch = ring * plan.run.planting.mulch_depth_m * planted.sum()
                care = "order a season ahead; into soaked ground, guarded, weeds kept off"
                if name not in _EARLY:
                    care += "; only where the pioneers have taken and water has soaked in"
                yield Task(
                    month + 12 * (year - 1),
                    f"plant {name} trees",
                    self._where(count > 0),
                    float(planted.sum()),
                    "trees",
                    f"{care}; {mulch:.1f} m³ of mulch",
                )

    def _thinned(self, which: BoolArray, begin: int) -> Iterator[Task]:
        trees, count = self._plan.trees, self._years.rain_mm.size
        pioneer = np.array([own.group == "pioneer" for own in trees.table], dtype=bool)
        pioneers = np.bincount(trees.lip[pioneer[trees.species]], minlength=which.size)
        # Crowns close by the end of a year; what is to bear wants light in the rest before.
        closes = shade_columns(self._plan)["crowns_close_year"]
        due = np.fmin(closes, first_crops(trees, which.size) - 1.0)
        for year in np.unique(due[which & (due <= count) & (pioneers > 0)]).tolist():
            own = which & (due == year) & (pioneers > 0)
            yield Task(
                self._after(begin + 12 * int(year) - 1, self._seasons.rest),
                "thin pioneers",
                self._where(own),
                float(pioneers[own].sum()),
                "trees",
                "the first trees bear, or crowns close over the trench: coppice or take out what "
                "crowds fruit, nut and timber trees, leave the cut as mulch; not in the season of "
                "fires",
            )

    def _desilted(self, which: BoolArray, begin: int) -> Iterator[Task]:
        """In the dry season after the year in which it is due."""
        years = self._years
        for year, due in enumerate(years.desilted, start=1):
            own = which & due
            if own.any():
                silt_m3: FloatArray = years.silt_share[year - 1] * self._plan.figures.capacity_m3
                yield Task(
                    begin + 12 * year,
                    "desilt and reshape",
                    self._where(own),
                    float(silt_m3[own].sum()),
                    "m³",
                    "never below the old base; spread it on the mound; level the sill anew",
                )

    def _inspected(self) -> Iterator[Task]:
        first = self._after(self._seasons.dry, self._seasons.wet)
        lips = np.ones(self._phase.size, dtype=bool)
        for year in range(self._years.rain_mm.size):
            phased = lips & (self._phase <= year + 1)
            yield Task(
                first + 12 * year,
                "inspect after storms",
                self._where(phased),
                float(phased.sum()),
                "swales",
                "after every large storm of the season: low spots of lips, sills, aprons, routes, "
                "burrows, water that stands over three days",
            )


def first_crops(trees: Trees, swales: int) -> FloatArray:
    """Year in which the first high-value tree of each swale bears; NaN where none ever does."""
    main = np.array([own.group in MAIN_GROUPS for own in trees.table], dtype=bool)
    bearing = np.array([own.bearing_years for own in trees.table], dtype=float)[trees.species]
    bears = main[trees.species] & np.isfinite(bearing) & (trees.band < len(BANDS))
    year = np.full(swales, np.inf)
    np.minimum.at(year, trees.lip[bears], trees.year[bears] + bearing[bears])
    return np.where(np.isinf(year), np.nan, np.ceil(year))


def _of_item(programme: Programme, item: str) -> FloatArray:
    """Amount of one row of `quantities` by swale, (swales,)."""
    return next(own.amount for own in programme.bill.entries if own.item == item)
