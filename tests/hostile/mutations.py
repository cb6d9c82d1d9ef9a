"""Ways to spoil a file: bytes, text, headers of TIFF, tables of GeoPackages."""

import random
import re
import sqlite3
import struct
from collections.abc import Callable
from contextlib import closing, suppress
from pathlib import Path

Mutation = Callable[[Path, random.Random], None]

_EDGES = (0, 1, 2, 255, 65535, 2**31 - 1, 2**31, 2**32 - 1)
_WORDS = (
    "nan", "inf", "-inf", "1e999", "-1", "0", "", "=1+1", "../../x", "/vsicurl/http://x/y.tif",
    "http://x/y", "\x00", "\ufeff", "9" * 400, "true", "[]", "{}", '"', "'", "é" * 50, "%s%n",
    "'; DROP TABLE gpkg_contents; --", "1,5", "0x10", "1_000", "2026-01-01", "[" * 3000,
)  # fmt: skip
_SQL_VALUES = (
    None, float("inf"), float("-inf"), 1e308, -1, 2**62, "x", "", "=cmd()", "../../x", b"\x00",
    b"\xff" * 40, "S001\n", "S001", "\x1b[31m", "/vsicurl/http://x/y.tif", "[" * 500,
)  # fmt: skip


def flip_bytes(path: Path, chance: random.Random) -> None:
    """Change a few bytes, most of them near the start, where headers are."""
    data = bytearray(path.read_bytes())
    reach = len(data) if chance.random() < 0.5 else min(len(data), 4096)
    for _ in range(chance.choice((1, 2, 8, 64))):
        data[chance.randrange(reach)] = chance.randrange(256)
    path.write_bytes(data)


def cut(path: Path, chance: random.Random) -> None:
    """Cut the file short."""
    data = path.read_bytes()
    path.write_bytes(data[: chance.randrange(len(data))])


def swap_stretches(path: Path, chance: random.Random) -> None:
    """Exchange two stretches."""
    data = bytearray(path.read_bytes())
    long = chance.choice((4, 16, 512, 4096))
    a, b = (chance.randrange(max(1, len(data) - long)) for _ in range(2))
    data[a : a + long], data[b : b + long] = data[b : b + long], data[a : a + long]
    path.write_bytes(data)


def other_file(path: Path, chance: random.Random) -> None:
    """Put another of the folder's files in its place."""
    others = sorted(p for p in path.parent.iterdir() if p != path and p.is_file())
    path.write_bytes(chance.choice(others).read_bytes())


def word(path: Path, chance: random.Random) -> None:
    """Replace a word of a text."""
    text = path.read_text(encoding="utf-8")
    places = list(re.finditer(r"[\w.%\"-]+", text))
    place = chance.choice(places)
    changed = text[: place.start()] + chance.choice(_WORDS) + text[place.end() :]
    path.write_text(changed, encoding="utf-8")


def line(path: Path, chance: random.Random) -> None:
    """Take a line away, double it, or move it."""
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    taken = lines.pop(chance.randrange(len(lines)))
    for _ in range(chance.randrange(3)):
        lines.insert(chance.randrange(len(lines) + 1), taken)
    path.write_text("".join(lines), encoding="utf-8")


def tiff_tag(path: Path, chance: random.Random) -> None:
    """Change number, type, count or value of a tag of a little-endian classic TIFF."""
    data = bytearray(path.read_bytes())
    start = struct.unpack_from("<I", data, 4)[0]
    tags = struct.unpack_from("<H", data, start)[0]
    at = start + 2 + 12 * chance.randrange(tags)
    field = chance.choice(("number", "type", "count", "value", "value"))
    if field in ("number", "type"):
        struct.pack_into("<H", data, at + 2 * (field == "type"), chance.choice((0, 1, 2, 3, 4, 12)))
    else:
        value = chance.choice((*_EDGES, chance.randrange(100_000)))
        struct.pack_into("<I", data, at + 4 + 4 * (field == "value"), value)
    path.write_bytes(data)


def tiff_size(path: Path, chance: random.Random) -> None:
    """Claim huge dimensions."""
    data = bytearray(path.read_bytes())
    start = struct.unpack_from("<I", data, 4)[0]
    for k in range(struct.unpack_from("<H", data, start)[0]):
        at = start + 2 + 12 * k
        if struct.unpack_from("<H", data, at)[0] in (256, 257, 278):
            struct.pack_into("<HII", data, at + 2, 4, 1, chance.choice((10**5, 10**6, 2**31 - 1)))
    path.write_bytes(data)


def side_file(path: Path, chance: random.Random) -> None:
    """Lay a file beside it that libraries look for on their own."""
    address = "/vsicurl/http://127.0.0.1:9/x.tif"
    virtual = f"<SimpleSource><SourceFilename>{address}</SourceFilename></SimpleSource>"
    size, band = 'rasterXSize="9" rasterYSize="9"', '<VRTRasterBand band="1">'
    overview = f'<Metadata domain="OVERVIEWS"><MDI key="OVERVIEW_FILE">{address}</MDI></Metadata>'
    entities = '<!DOCTYPE a [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;&a;">]>'
    figures = "<Scale>inf</Scale><Offset>nan</Offset><NoDataValue>nan</NoDataValue>"
    texts = (
        f"<VRTDataset {size}>{band}{virtual}</VRTRasterBand></VRTDataset>",
        f"<PAMDataset>{overview}</PAMDataset>",
        f"{entities}<PAMDataset>&b;</PAMDataset>",
        "<a>" * 20_000,
        "<PAMDataset><GeoTransform>nan,inf,0,0,0,0</GeoTransform></PAMDataset>",
        f"<PAMDataset><PAMRasterBand band='1'>{figures}</PAMRasterBand></PAMDataset>",
        "nan\n0\n0\ninf\n0\n0\n",
    )
    ending = chance.choice((".aux.xml", ".ovr", ".msk", ".tfw", ".prj"))
    text = chance.choice(texts)
    target = path.with_suffix(ending) if ending == ".tfw" else path.with_name(path.name + ending)
    target.write_text(text, encoding="utf-8")


def sql_value(path: Path, chance: random.Random) -> None:
    """Set cells of a table to something that its column does not hold."""
    with closing(sqlite3.connect(path)) as database:
        table = chance.choice(_tables(database))
        columns = [row[1] for row in database.execute(f"PRAGMA table_info({_quoted(table)})")]
        column = chance.choice(columns)
        some = "" if chance.random() < 0.5 else " WHERE rowid = 1"
        update = f"UPDATE {_quoted(table)} SET {_quoted(column)} = ?{some}"
        with suppress(sqlite3.Error):
            database.execute(update, (chance.choice(_SQL_VALUES),))
        database.commit()


def sql_schema(path: Path, chance: random.Random) -> None:
    """Drop, empty, rename, shadow or add tables, views and triggers."""
    with closing(sqlite3.connect(path)) as database:
        table = chance.choice(_tables(database))
        name = _quoted(table)
        endless = "WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM n) SELECT x FROM n"
        statements = chance.choice(
            (
                (f"DROP TABLE {name}",),
                (f"DELETE FROM {name}",),
                (f"INSERT INTO {name} SELECT * FROM {name}",),
                (f'ALTER TABLE {name} RENAME TO "a""; DROP TABLE b; --"',),
                (f"ALTER TABLE {name} RENAME TO gone", f"CREATE VIEW {name} AS SELECT * FROM gone"),
                (f"DROP TABLE {name}", f"CREATE VIEW {name} AS {endless}"),
                (
                    f"DROP TABLE {name}",
                    f"CREATE VIEW {name} AS SELECT * FROM other",
                    f"CREATE VIEW other AS SELECT * FROM {name}",
                ),
                (
                    f"CREATE TRIGGER t AFTER INSERT ON {name} BEGIN DELETE FROM {name}; END",
                    'CREATE TABLE "x\' OR 1=1" ("a""b" TEXT)',
                ),
                ("CREATE VIRTUAL TABLE f USING fts5(a)", f"DROP TABLE {name}"),
                tuple(f"CREATE TABLE t{k} (a)" for k in range(300)),
                ("PRAGMA writable_schema = 1", "UPDATE sqlite_master SET sql = 'nonsense'"),
                (f"ALTER TABLE {name} ADD COLUMN g AS (zeroblob(900000000))",),
            )
        )
        for statement in statements:
            with suppress(sqlite3.Error):
                database.execute(statement)
        database.commit()


def geometry(path: Path, chance: random.Random) -> None:
    """Spoil the bytes of a geometry: kinds, counts, NaN and infinite coordinates."""
    with closing(sqlite3.connect(path)) as database:
        told = database.execute(
            "SELECT table_name, column_name FROM gpkg_geometry_columns WHERE table_name IN "
            "(SELECT name FROM sqlite_master WHERE type = 'table')"
        )
        table, column = chance.choice(told.fetchall())
        found = database.execute(
            f"SELECT rowid, {_quoted(column)} FROM {_quoted(table)}"
        ).fetchall()
        if not found:
            return
        row, blob = chance.choice(found)
        data = bytearray(blob or b"GP\x00\x01")
        number = struct.pack("<d", chance.choice((float("nan"), float("inf"), 1e308, 0.0, -1e300)))
        count = struct.pack("<I", chance.choice(_EDGES))
        at = chance.randrange(len(data))
        new = chance.choice((number, count, bytes([chance.randrange(256)])))
        data[at : at + len(new)] = new
        for trigger in database.execute("SELECT name FROM sqlite_master WHERE type='trigger'"):
            database.execute(f"DROP TRIGGER {_quoted(trigger[0])}")
        update = f"UPDATE {_quoted(table)} SET {_quoted(column)} = ? WHERE rowid = ?"
        database.execute(update, (bytes(data), row))
        database.commit()


def _tables(database: sqlite3.Connection) -> list[str]:
    told = database.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")
    return [name for (name,) in told if not name.startswith("sqlite_")]


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


_BYTES: tuple[Mutation, ...] = (flip_bytes, cut, swap_stretches, other_file)
MUTATIONS: dict[str, tuple[Mutation, ...]] = {
    ".tif": (*_BYTES, tiff_tag, tiff_tag, tiff_size, side_file),
    ".gpkg": (*_BYTES, sql_value, sql_value, sql_schema, sql_schema, geometry),
    ".toml": (*_BYTES, word, word, word, line),
    ".csv": (*_BYTES, word, word, word, line),
}
"""What is done to a file, by its ending."""
