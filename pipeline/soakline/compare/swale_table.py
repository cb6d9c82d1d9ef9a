"""Tables with a row a swale and as many figures side by side as there is room for."""

from dataclasses import dataclass

import pandas as pd

from soakline.compare.items import SWALE_ITEMS, Item
from soakline.compare.printed import GAP, WIDTH, change, changed, figure, figures

_HEAD = "Swales"
_SPACE = 3


@dataclass(frozen=True, slots=True)
class _Columns:
    """One item of every swale.

    Parameters
    ----------
    head : stands over all three columns
    cells : A, B and change as text, the row of column heads first
    moved : which rows changed
    """

    head: str
    cells: list[tuple[str, str, str]]
    moved: list[bool]

    @property
    def widths(self) -> list[int]:
        found = [max(len(cell[i]) for cell in self.cells) for i in range(3)]
        found[0] += max(0, len(self.head) - sum(found) - 2 * len(GAP))
        return found

    @property
    def width(self) -> int:
        return sum(self.widths) + 2 * len(GAP)


def swale_tables(all_figures: pd.DataFrame, everything: bool) -> list[list[str]]:
    """Lines of each table.

    Parameters
    ----------
    all_figures : of a Comparison
    everything : rows and items without a change too, and swales that only one plan holds
    """
    wanted = ["swale", "swale_vanished", "swale_appeared"] if everything else ["swale"]
    frame = all_figures[all_figures["scope"].isin(wanted)]
    ids = frame[frame["item"] == SWALE_ITEMS[0].name]
    labels = [
        f"{name} {scope.removeprefix('swale').strip('_')}".rstrip()
        for name, scope in zip(ids["id"], ids["scope"], strict=True)
    ]
    columns = [_columns(frame[frame["item"] == item.name], item) for item in SWALE_ITEMS]
    shown = [each for each in columns if everything or any(each.moved)] if labels else []
    side = max(map(len, [*labels, _HEAD]))
    tables: list[list[_Columns]] = []
    room = 0
    for each in shown:
        if each.width + _SPACE > room:
            tables.append([])
            room = WIDTH - side
        tables[-1].append(each)
        room -= each.width + _SPACE
    return [_lines(labels, side, table, everything) for table in tables]


def _columns(frame: pd.DataFrame, item: Item) -> _Columns:
    cells = [("A", "B", "change")]
    cells += [
        (figure(a, unit), figure(b, unit), change(moved, unit))
        for unit, a, b, moved, _ in figures(frame)
    ]
    return _Columns(f"{item.title}, {item.unit}", cells, [False, *changed(frame)])


def _lines(labels: list[str], side: int, table: list[_Columns], everything: bool) -> list[str]:
    space = " " * _SPACE
    lines = [_HEAD.ljust(side) + "".join(space + c.head.center(c.width) for c in table)]
    for row, label in enumerate(["", *labels]):
        if row == 0 or everything or any(c.moved[row] for c in table):
            parts = (
                GAP.join(cell.rjust(w) for cell, w in zip(c.cells[row], c.widths, strict=True))
                for c in table
            )
            lines.append(label.ljust(side) + "".join(space + part for part in parts))
    return [line.rstrip() for line in lines]
