"""Files that were right, made wrong in one place, by kind of file: what a slip of the hand, a broken transfer or ill
will makes of them. Each takes a generator of random numbers and the file's bytes or path."""

import random
import sqlite3
import struct
from contextlib import closing, suppress

import numpy as np
import rasterio
from rasterio.transform import Affine

#: What may stand where a value stands, in TOML.
VALUES = ("0", "-1", "1", "nan", "inf", "-inf", "1e308", "-1e308", "1e-308", "9223372036854775808", "true", "''",
          "[]", "{}", "[[]]", "'nan'", "'1e400 m'", "'-5 m'", "'12'", "'1 furlong'", "2026-01-01",
          "'" + "x" * 5000 + "'", "['a', 1]", "'\u202e'", "'a\u0301'", "{a = 1}", "1_0", "0x1F", "'25 kN'",
          "'20 % RTS'", "'1800 m'", "'maximum'", "'../../etc'", "'/dev/zero'", "'.'", "'line.gpkg'",
          "'ground.tif'", "'framings.csv'")
#: What may stand in a cell.
CELLS = ("", " ", "nan", "inf", "-inf", "1e308", "-1e308", "1e999", "0", "-0", "-1", "abc", '"', '""', "\x00",
         "x" * 200_000, "1,5", "1;5", "=1+1", "\u202e", "1e-320", "strain", "suspension", "phase", "shield", "true",
         "None", "NA", "\r", "1" * 400, "٣", "1_000", "0x10", "5 m", "-9999")


def toml(rng, text):
    """A study: a value, a key, a line, or some bytes changed."""
    lines = text.split("\n")
    kind = rng.choice(["value"] * 6 + ["drop", "twice", "swap", "key", "head", "cut", "byte"])
    full = [i for i, line in enumerate(lines) if "=" in line]
    i, j = rng.choice(full), rng.choice(full)
    if kind == "value":
        lines[i] = lines[i].split("=")[0] + "= " + rng.choice(VALUES)
    elif kind == "drop":
        del lines[rng.randrange(len(lines))]
    elif kind == "twice":
        lines.insert(j, lines[i])
    elif kind == "swap":
        lines[i], lines[j] = lines[j], lines[i]
    elif kind == "key":
        lines[i] = rng.choice(["x", "", "''", "a.b.c", "name"]) + " = " + lines[i].split("=", 1)[1]
    elif kind == "head":
        heads = [k for k, line in enumerate(lines) if line.startswith("[")]
        lines[rng.choice(heads)] = rng.choice(
            ["[x]", "[[study]]", "[study.study]", "[[options]]", "[[cases]]", "[rating]"])
    return some_bytes(rng, "\n".join(lines).encode()) if kind == "byte" else \
        "\n".join(lines).encode()[:rng.randrange(10**6) if kind == "cut" else None]


def table(rng, content):
    """A CSV file: cells, columns, rows, or bytes."""
    rows = [line.split(",") for line in content.decode().rstrip("\n").split("\n")]
    kind = rng.choice(["cell"] * 6 + ["drop row", "twice", "drop column", "head", "ragged", "code", "byte"])
    i, j = rng.randrange(len(rows)), rng.randrange(len(rows[0]))
    if kind == "cell":
        rows[i][j] = rng.choice(CELLS)
    elif kind == "drop row":
        del rows[i]
    elif kind == "twice":
        rows.insert(i, rows[-1])
    elif kind == "drop column":
        rows = [row[:j] + row[j + 1:] for row in rows]
    elif kind == "head":
        rows[0][j] = rng.choice(["", rows[0][0], "x", rows[0][j].upper()])
    elif kind == "ragged":
        rows[i] = rows[i] + ["1"] * rng.choice([1, 3, 5000])
    text = "\n".join(map(",".join, rows))
    if kind == "code":
        return text.encode(rng.choice(["utf-16", "utf-32", "utf-8-sig"]))
    return some_bytes(rng, text.encode()) if kind == "byte" else text.encode("utf-8", "surrogatepass")


def some_bytes(rng, content, first=0, last=None):
    """Bytes flipped, put in, taken away or cut off, between two places."""
    content, last = bytearray(content), len(content) if last is None else min(last, len(content))
    for _ in range(rng.choice([1, 1, 1, 4, 16])):
        at = rng.randrange(first, max(last, first + 1))
        kind = rng.choice(["flip", "flip", "set", "insert", "drop", "cut", "four"])
        if kind == "flip" and at < len(content):
            content[at] ^= 1 << rng.randrange(8)
        elif kind == "set" and at < len(content):
            content[at] = rng.choice([0, 255, 127, 128])
        elif kind == "insert":
            content[at:at] = bytes(rng.choice([b"\xff", b"\0", b"\xff\x7f\x03"])) * rng.choice([1, 4, 300])
        elif kind == "drop":
            del content[at:at + rng.choice([1, 4, 300])]
        elif kind == "cut" and rng.random() < 0.2:
            del content[at:]
        elif kind == "four":
            content[at:at + 4] = struct.pack("<I", rng.choice([0, 2**31 - 1, 2**32 - 1, 2**16]))
    return bytes(content)


def layer(rng, path):
    """A GeoPackage: values and geometries of a row, its tables, or its bytes."""
    if rng.random() < 0.3:
        path.write_bytes(some_bytes(rng, path.read_bytes()))
        return
    with closing(sqlite3.connect(path)) as database, database, suppress(sqlite3.Error):
        for name, in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            database.execute(f'DROP TRIGGER "{name}"')
        tables = [name for name, in database.execute("SELECT table_name FROM gpkg_contents")]
        full = [name for name in tables if database.execute(f'SELECT 1 FROM "{name}"').fetchone()]
        table_ = rng.choice([name for name in full if name != "layer_styles"])
        names = [row[1] for row in database.execute(f'PRAGMA table_info("{table_}")')]
        fids = [fid for fid, in database.execute(f'SELECT rowid FROM "{table_}"')]
        kind = rng.choice(["value"] * 5 + ["shape"] * 4 + ["drop column", "drop row", "crs", "contents", "type"])
        name = rng.choice(names[1:])
        if kind == "value":
            value = rng.choice([None, "", "nan", "x" * 5000, 0, -1, 1e308, float("inf"), b"\0\1", 2**62, "2", "None",
                                "\x1b"])
            database.execute(f'UPDATE "{table_}" SET "{name}" = ? WHERE fid = ?', [value, rng.choice(fids)])
        elif kind == "shape":
            fid = rng.choice(fids)
            shape, = database.execute(f'SELECT geom FROM "{table_}" WHERE fid = ?', [fid]).fetchone()
            place = rng.choice([(float("nan"), 0.0), (1e300, 1e300), (float("inf"), 0.0), (0.0, 0.0), (1e7, 1e7)])
            new = rng.choice([some_bytes(rng, shape), None, b"", shape[:8], shape[:-16] + struct.pack("<dd", *place)])
            database.execute(f'UPDATE "{table_}" SET geom = ? WHERE fid = ?', [new, fid])
        elif kind == "drop column":
            database.execute(f'ALTER TABLE "{table_}" DROP COLUMN "{name}"')
        elif kind == "drop row":
            database.execute(f'DELETE FROM "{table_}" WHERE fid >= ?', [rng.choice(fids)])
        elif kind == "crs":
            database.execute("UPDATE gpkg_geometry_columns SET srs_id = ?", [rng.choice([-1, 0, 4326, 99])])
        elif kind == "contents":
            database.execute("UPDATE gpkg_contents SET data_type = ?", [rng.choice(["attributes", "tiles", "x"])])
        else:
            database.execute("UPDATE gpkg_geometry_columns SET geometry_type_name = ?",
                             [rng.choice(["POLYGON", "GEOMETRY", "X", "LINESTRING"])])


def raster(rng, path):
    """A GeoTIFF: what it says of itself, its values, or its bytes."""
    if rng.random() < 0.6:
        path.write_bytes(some_bytes(rng, path.read_bytes(), *rng.choice([(0, 600), (0, None)])))
        return
    with rasterio.open(path) as dataset:
        profile, z = dataset.profile, dataset.read(1)
    kind = rng.choice(["values", "transform", "crs", "nodata", "kind", "small"])
    if kind == "values":
        z[rng.randrange(len(z)):] = rng.choice([np.nan, np.inf, -1e308, 1e308, 1e5, 0.0])
    elif kind == "transform":
        profile["transform"] = rng.choice([Affine(1e-9, 0, 0, 0, -1e-9, 0), Affine(0, 10, 5e5, 10, 0, 5.6e6),
                                           Affine(10, 0, 1e300, 0, -10, 0), Affine(1e9, 0, 5e5, 0, -1e9, 5.6e6)])
    elif kind == "crs":
        profile["crs"] = rng.choice(["EPSG:4326", "EPSG:3857", "EPSG:4978", "EPSG:32601", 'LOCAL_CS["x"]'])
    elif kind == "nodata":
        profile["nodata"] = rng.choice([0.0, float("nan"), float("inf"), 1e308])
    elif kind == "kind":
        profile |= rng.choice([{"dtype": "uint8", "nodata": None}, {"dtype": "complex64", "nodata": None},
                               {"dtype": "int16"}, {"count": 3}])
        z = np.nan_to_num(z).astype(profile["dtype"])
    else:
        z = z[:1, :1]
        profile |= {"width": 1, "height": 1}
    with rasterio.open(path, "w", **profile) as dataset:
        dataset.write(z, 1)


def points(rng, content):
    """A LAZ tile: its header, its table of chunks, its points."""
    return some_bytes(rng, content, *rng.choice([(0, 380), (0, 900), (len(content) - 100, None), (0, None)]))


def seeded(seed):
    """The generator of one mutation."""
    return random.Random(f"corridor {seed}")
