"""What a section drawing cannot show, in words; cautions beside the figures that they concern."""

import textwrap
from collections.abc import Sequence

from soakline.setout.plan import SetOutPlan
from soakline.setout.section_types import SectionType
from soakline.setout.sheet import INK, RED
from soakline.setout.swale import Swale

Notes = list[tuple[str, str]]
"""Words and their colour."""

# Where a way out, and where support, is usually asked for: 29 CFR 1926.651 and .652; Model WHS
# Regulations r. 306.
_WAY_OUT_FROM_M, _SUPPORT_FROM_M = 1.2, 1.5


def _range(values: Sequence[float], digits: int = 2) -> str:
    low, high = f"{min(values):.{digits}f}", f"{max(values):.{digits}f}"
    return low if low == high else f"{low} to {high}"


def short_list(swales: Sequence[str], order: Sequence[str]) -> str:
    """Ids with runs of the plan's order drawn together.

    Examples
    --------
    >>> short_list(["S1", "S2", "S3", "S5"], ["S1", "S2", "S3", "S4", "S5"])
    'S1 to S3, S5'
    """
    place = {name: k for k, name in enumerate(order)}
    runs: list[list[str]] = []
    for name in swales:
        if runs and place[name] == place[runs[-1][-1]] + 1:
            runs[-1].append(name)
        else:
            runs.append([name])
    words = [run[0] if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs]
    return ", ".join(words)


def _soils(swales: Sequence[Swale]) -> str:
    """Textures with the rates that water soaks in at, in the order of the swales."""
    rates: dict[str, list[float]] = {}
    for swale in swales:
        rates.setdefault(swale.texture, []).append(swale.soaking_mm_h)
    return "; ".join(f"{own}, soaking {_range(mm_h, 1)} mm/h" for own, mm_h in rates.items())


def trench_notes(plan: SetOutPlan, kind: SectionType, letters: int) -> Notes:
    """Which swales, soil, batters and faces; with `letters` to a line."""
    swales = kind.swales
    ids = short_list([s.swale_id for s in swales], [s.swale_id for s in plan.swales])
    count = "1 swale" if len(swales) == 1 else f"{len(swales)} swales"
    slope = _range([100 * s.slope for s in swales], 1)
    batters = (
        f"Trench batter {swales[0].trench.batter:g}, mound batter {swales[0].mound.batter:g} "
        f"horizontal to 1 vertical; slope of the ground {slope} %."
    )
    below = max(s.below_m for s in swales)
    layer = f" Base on {below:.2f} m of {plan.amendment}, dug deeper by as much." * (below > 0.0)
    notes = [
        (f"{count}: " + textwrap.shorten(ids, 3 * letters, placeholder=" ..."), INK),
        (f"Soil: {_soils(swales)}, with clogging; test on site.{layer}", INK),
        (batters, INK),
        (f"Highest cut face at any peg {_range([s.face_height_m for s in swales])} m.", INK),
    ]
    face = max(s.open_face_m for s in swales)
    if face > max(s.face_height_m for s in swales):
        words = f"With what is dug below the base and for ponds and basins {face:.2f} m."
        notes.append((words, INK))
    if face > _WAY_OUT_FROM_M:
        need = "support or flat batters are" if face > _SUPPORT_FROM_M else "a way out is"
        limit = _SUPPORT_FROM_M if face > _SUPPORT_FROM_M else _WAY_OUT_FROM_M
        safety = (
            f"Trench safety: over {limit:g} m {need} usually asked for; keep people out and spoil "
            "0.6 m from the edge; follow local rules."
        )
        notes.append((safety, RED))
    return notes


def mound_notes(kind: SectionType) -> Notes:
    """The mound, the trees, and water that stands."""
    swales = kind.swales
    if kind.drawn.crest_height_m > 0:
        high = _range([s.crest_height_m for s in swales])
        # A lip that is all sill carries no mound.
        wide = _range([s.crest_width_m for s in swales if s.crest_width_m > 0] or [0.0])
        mound = f"Mound: settled crest {high} m over full water, {wide} m wide; none at sills."
        berm = kind.drawn.mound.berm_m
        mound += f" It begins {berm:.2f} m from the lip." * (berm > 0.0)
        notes = [
            (mound, INK),
            ("Loose spoil is no dam: no water but a running sill's head may stand on it.", RED),
            ("Trees: A main trees on the crest, B on its downhill face, C just below it.", INK),
        ]
    else:
        notes = [
            ("Spoil is spread, no mound stands.", INK),
            ("Trees: C main trees below the lip.", INK),
        ]
    return [
        *notes,
        ("D nitrogen fixers, 0 to 2 m above the daylight edge. Symbols are not to scale.", INK),
        *sill_notes(kind),
        ("Standing water can drown a child and breeds mosquitoes where it stands for days.", RED),
    ]


def sill_notes(kind: SectionType) -> Notes:
    """Sills and their aprons, by lining."""
    sills = [sill for swale in kind.swales for sill in swale.sills]
    notes: Notes = []
    for lining in sorted({sill.lining for sill in sills}):
        own = [sill for sill in sills if sill.lining == lining]
        lengths = _range([sill.end_m - sill.start_m for sill in own], 1)
        words = (
            f"Sills, {len(own)} lined with {lining}: {lengths} m long, dead level over "
            f"{own[0].width_m:g} m across the lip; apron {own[0].apron_m:g} m below."
        )
        notes.append((words, INK))
    if any(sill.lining.startswith("stone") for sill in sills):
        notes.append(("Stone sizes and keys to a licensed engineer's design.", RED))
    return notes
