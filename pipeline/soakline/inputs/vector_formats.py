"""Tells from a vector file's first bytes whether it is what its ending says."""

from contextlib import suppress
from pathlib import Path
from xml.parsers import expat

from soakline.geopackage_guard import SQLITE_HEAD

GREATEST_BYTES = 1_000_000_000
MOST_VERTICES = 5_000_000
"""Of one layer: a fence drawn at every decimetre for 500 km."""
_STARTS: dict[str, tuple[bytes, ...]] = {
    ".gpkg": (SQLITE_HEAD,),
    ".shp": (b"\x00\x00\x27\x0a",),
    ".fgb": (b"fgb\x03",),
    ".geojson": (b"{",),
    ".json": (b"{",),
}
_ROOTS: dict[str, tuple[str, ...]] = {
    ".kml": ("kml",),
    ".gml": ("featurecollection", "featurearray", "dictionary", "feature"),
}
_HEAD_BYTES = 65_536


def looks_as_named(path: Path) -> bool:
    """Tell whether a file starts as files of its ending do; XML with a document type never does.

    Notes
    -----
    A document type declares entities, which can grow without end or name other files. No vector
    format needs one.
    """
    ending = path.suffix.lower()
    with path.open("rb") as stream:
        head = stream.read(_HEAD_BYTES)
    if ending in _ROOTS:
        root = _root(head)
        return root.lower() in _ROOTS[ending]
    if ending in (".geojson", ".json"):
        head = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    return head.startswith(_STARTS.get(ending, ()))


def _root(head: bytes) -> str:
    """Name of the first element without its prefix; empty if there is none or a document type."""
    found: list[str] = []
    parser = expat.ParserCreate()

    def refuse(*_: object) -> None:
        found.append("")

    def start(name: str, _: object) -> None:
        found.append(name.rpartition(":")[2])

    parser.StartDoctypeDeclHandler = refuse
    parser.StartElementHandler = start
    with suppress(expat.ExpatError):
        parser.Parse(head, False)
    return found[0] if found else ""
