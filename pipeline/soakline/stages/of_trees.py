"""Trees placed, and put into the plan's file, beside the stages that do not ask for them."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from functools import cache
from pathlib import Path
from typing import Any

from soakline.beside import NotBeside, beside
from soakline.outputs.columns import SCHEMAS
from soakline.outputs.geopackage import FilledLayer, fill_begun
from soakline.outputs.trees import tree_layer
from soakline.planting.trees import Trees

Plant = Callable[[], Trees]


class TreesUnderWay:
    """Trees, asked for once by the stage that can place them, and then by whoever needs them.

    Parameters
    ----------
    begun : the plan's file, as soon as it is there; see `of_land.land_under_way`
    crs_wkt : the working CRS
    copies : ends the copy of this process
    """

    def __init__(self, begun: Path, crs_wkt: str, copies: ExitStack) -> None:
        self._begun, self._crs, self._copies = begun, crs_wkt, copies
        self._results: Iterator[Any] = iter(())

    def placed_by(self, plant: Plant, swale_ids: list[str]) -> Plant:
        """Begin.

        Parameters
        ----------
        plant : places them
        swale_ids : of the lips

        Returns
        -------
        Waits for the trees
        """

        def work() -> Iterator[Any]:
            trees = plant()
            yield trees
            if not self._begun.is_file():
                yield None
                return
            layer = tree_layer(trees, swale_ids, self._crs)
            yield fill_begun(self._begun, SCHEMAS["trees"], layer)

        results = self._copies.enter_context(beside(work))

        @cache
        def trees() -> Trees:
            try:
                placed: Trees = next(results)
            except NotBeside:
                return plant()
            self._results = results
            return placed

        return trees

    def filled(self) -> FilledLayer | None:
        """Their layer as it stands in the plan's file; None if it is still to be filled.

        Raises
        ------
        NotBeside
            If it was filled in part: the file is to be begun anew.
        """
        filled: FilledLayer | None = next(self._results, None)
        return filled


@contextmanager
def trees_under_way(begun: Path, crs_wkt: str) -> Iterator[TreesUnderWay]:
    """Lend trees that are placed beside; parameters as of `TreesUnderWay`."""
    with ExitStack() as copies:
        yield TreesUnderWay(begun, crs_wkt, copies)
