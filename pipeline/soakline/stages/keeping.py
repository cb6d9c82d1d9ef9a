"""Stages whose results are kept from run to run, each under a key of all that it depends on."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

from soakline import tables
from soakline.inputs.planting_blocks import block_heights_m, check_blocks, with_heights
from soakline.inputs.read import land_digests, read_parts, read_rain_and_works, sha256_of
from soakline.inputs.types import Inputs, LandInputs, RainInputs, WorksInputs
from soakline.runfile.sections import RunFile
from soakline.section.design import SectionDesign, section_design
from soakline.section.soils import textures_on
from soakline.stages.progress import Progress
from soakline.store.keys import Key, code_version, key_of
from soakline.store.stage_store import StageStore

T = TypeVar("T")

_READING = ("inputs", "runfile", "grid", "findings", "problems", "tables")


@dataclass(slots=True)
class KeptStages:
    """A run's stages in order; the key of each holds that of the one before.

    Parameters
    ----------
    store : StageStore
    key : of all stages up to here
    """

    store: StageStore
    key: Key

    def kept(
        self, stage: str, make: Callable[[], T], uses: tuple[object, ...], code: tuple[str, ...]
    ) -> T:
        """Result of the next stage, stored or made.

        Parameters
        ----------
        stage : name
        make : runs it
        uses : sections of the run file and other values that it uses, earlier stages aside
        code : subpackages of soakline that it runs
        """
        self.key = self._key(stage, uses, code)
        return self.store.kept(stage, self.key, make)

    def holds(self, stage: str, uses: tuple[object, ...], code: tuple[str, ...]) -> bool:
        """Whether the result of the next stage is stored; parameters as of `kept`."""
        return self.store.holds(stage, self._key(stage, uses, code))

    def _key(self, stage: str, uses: tuple[object, ...], code: tuple[str, ...]) -> Key:
        return key_of(self.key, stage, uses, code_version(*code))


def read_kept(
    run: RunFile, store: StageStore, progress: Progress, rain_table: Path | None
) -> tuple[Inputs, SectionDesign, KeptStages]:
    """Inputs of a run, the land from the store where it is there, the rest always read.

    The sections that the run allows depend on the soils of the land: a run that they refuse is
    refused before anything is stored.

    Parameters
    ----------
    run : the run file
    store : StageStore
    progress : told what is read
    rain_table : instead of the run file's

    Returns
    -------
    Inputs, the sections for them, and the stages that follow

    Raises
    ------
    InputRefused
        With the problems of all files, else with those of the sections.
    """
    digests = land_digests(run, store.file_digest)
    if digests is None:
        # Something cannot be opened: reading tells what.
        read_parts(run, progress, rain_table)
        raise ValueError("a file that could not be opened was read")
    # The tables that ship are figures of the program, as its code is.
    shipped = {path.name: sha256_of(path) for path in sorted(tables.folder().glob("*.csv"))}
    stages = KeptStages(store, key_of(digests, shipped))
    read: list[tuple[RainInputs, WorksInputs]] = []

    def read_land() -> LandInputs:
        land, rain, works = read_parts(run, progress, rain_table, store.file_digest)
        _design(run, land)
        check_blocks(run, land.features, works.species)
        read.append((rain, works))
        return land

    land = stages.kept(
        "reading", read_land, (run.property, run.land, run.folder.as_posix()), _READING
    )
    rain, works = (
        read[0] if read else read_rain_and_works(run, progress, rain_table, store.file_digest)
    )
    check_blocks(run, land.features, works.species)
    heights = block_heights_m(land.features, works.species)
    # Species are read on every run: where they space the swales, all later stages are theirs too.
    stages = replace(stages, key=key_of(stages.key, heights.tolist()))
    land = replace(land, features=with_heights(land.features, heights))
    return Inputs.of(land, rain, works), _design(run, land), stages


def _design(run: RunFile, land: LandInputs) -> SectionDesign:
    return section_design(run, textures_on(land.features.soils, land.property.area))
