"""Where a run file was read from, and where the files are that it names."""

import glob
from pathlib import Path
from typing import Any, Protocol, cast

from pydantic import PrivateAttr

from soakline.runfile.keys import Keys


class _NamesFiles(Protocol):
    """The keys below that hold file names."""

    property: Any
    rain: Any
    earthworks: Any


class Located(Keys):
    """A run file's place on disk. Kept apart from the sections, whose field `property` hides the
    decorator of that name.
    """

    _file: Path = PrivateAttr(default_factory=lambda: Path("run.toml"))
    _text: str = PrivateAttr(default="")
    _sha256: str = PrivateAttr(default="")

    def place(self, file: Path, text: str, sha256: str) -> None:
        """Tell the run file where it came from; called once, by `load_run_file`."""
        self._file, self._text, self._sha256 = file.absolute(), text, sha256

    @property
    def file(self) -> Path:
        """The run file itself, absolute."""
        return self._file

    @property
    def folder(self) -> Path:
        """The folder that relative paths start from."""
        return self._file.parent

    @property
    def text(self) -> str:
        """The run file as written."""
        return self._text

    @property
    def sha256(self) -> str:
        """SHA-256 of the run file's bytes, hexadecimal."""
        return self._sha256

    def resolve(self, name: str) -> Path:
        """Path of a file that the run file names; relative names start at its folder."""
        return self.folder / name

    def dem_files(self) -> tuple[Path, ...]:
        """The DEM's files: globs expanded and sorted, names without a match kept as they are.

        A name that exists is that file, even if it holds `[` or `*`.
        """
        named = cast("_NamesFiles", self).property.dem
        found: list[Path] = []
        for name in (named,) if isinstance(named, str) else named:
            path = self.resolve(name)
            # Path.glob takes no absolute pattern, and a run file may name one.
            matches = [] if path.exists() else glob.glob(str(path), recursive=True)  # noqa: PTH207
            found.extend([Path(match) for match in sorted(matches)] or [path])
        return tuple(dict.fromkeys(found))

    def input_files(self) -> tuple[tuple[str, Path], ...]:
        """Every file that a plan reads, with the key that names it, in the run file's order."""
        run = cast("_NamesFiles", self)
        files = [("property.dem", path) for path in self.dem_files()]
        files.append(("property.boundary", self.resolve(run.property.boundary)))
        if run.property.features:
            files.append(("property.features", self.resolve(run.property.features)))
        files.append(("rain.table", self.resolve(run.rain.table)))
        if run.rain.pattern_file:
            files.append(("rain.pattern", self.resolve(run.rain.pattern_file)))
        works = [(key, getattr(run.earthworks, key)) for key in ("machines", "rates")]
        files += [(f"earthworks.{key}", self.resolve(name)) for key, name in works if name]
        return tuple(files)
