"""What a plan was made from, as one digest: it stands as long as that stays the same."""

from functools import cache
from pathlib import Path

import soakline
from soakline import tables
from soakline.inputs.read import sha256_of
from soakline.inputs.source_files import land_files, rain_files, shown
from soakline.inputs.works import works_files
from soakline.runfile.sections import RunFile
from soakline.store.keys import code_version, key_of

# Code that no plan depends on.
_OTHERS = frozenset({"command", "compare", "fleet"})


def made_from(run: RunFile) -> str:
    """Digest of a run file, of every file that it is planned from, and of the program.

    Parameters
    ----------
    run : the run file

    Returns
    -------
    hexadecimal; a file that is not there counts as one without content
    """
    files = [*land_files(run), *rain_files(run, run.resolve(run.rain.table)), *works_files(run)]
    inputs = [(role, shown(file, run.folder), sha256_of(file)) for role, file in files]
    return key_of(_program(), run.sha256, inputs).digest


@cache
def _program() -> str:
    """Digest of code, libraries and shipped tables."""
    package = Path(soakline.__file__).parent
    parts = {
        path.stem
        for path in package.iterdir()
        if (path / "__init__.py").is_file() or path.suffix == ".py"
    }
    code = code_version(*sorted(parts - _OTHERS))
    shipped = {path.name: sha256_of(path) for path in tables.folder().iterdir() if path.is_file()}
    return key_of(code, shipped).digest
