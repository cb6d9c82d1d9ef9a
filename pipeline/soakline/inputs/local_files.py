"""Local files told from addresses, folders and what cannot be read."""

import re
from pathlib import Path

from soakline.problems import InputProblem, InputRefused

_ADDRESS = re.compile(r"^/vsi|://|^[A-Za-z][A-Za-z0-9_]+:", re.IGNORECASE)


def is_address(name: str) -> bool:
    """Tell whether a name is an address or a virtual path rather than a local file.

    Examples
    --------
    >>> is_address("/vsicurl/http://example.org/dem.tif"), is_address("tiles/a.tif")
    (True, False)
    """
    return bool(_ADDRESS.search(name))


def require_local_file(path: Path, key: str, allowed: str) -> None:
    """Refuse what is not a readable local file, before any library looks at it.

    Raises
    ------
    InputRefused
        Naming the file and why.
    """
    found = ""
    if is_address(str(path)) or re.search(r"(^|/)(https?|ftp|s3|gs):/", str(path)):
        found, allowed = "an address or a virtual path", "a file on this machine"
    elif path.is_dir():
        found = "a folder"
    elif not path.exists():
        found = "no such file"
    else:
        try:
            with path.open("rb") as stream:
                found = "" if stream.read(1) else "an empty file"
        except OSError as error:
            found = f"a file that cannot be read ({error.strerror})"
    if found:
        raise InputRefused([InputProblem(str(path), key, found, allowed)])
