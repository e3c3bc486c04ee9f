"""Whether a database of somebody else holds rows alone."""

import re
import sqlite3
from contextlib import closing
from pathlib import Path
from urllib.parse import quote

__all__ = ["queries_in", "tiles_in"]

#: How SQLite writes down what holds rows, keeps them in order, or is asked only where something is written (sqlite.org,
#: "The Schema Table", recalled): all else, a view or a table of code, makes them up when asked.
_ROWS = re.compile(r"CREATE (TABLE|(UNIQUE )?INDEX|TRIGGER|VIRTUAL TABLE (\w+|\"[^\"]*\"|'[^']*') USING [\"']?"
                   r"(rtree|fts[345])\b)", re.IGNORECASE)


def queries_in(path: Path) -> list[str]:
    """Return names of what an SQLite database makes up when asked, which may have no end: views, tables of code or with
    columns that are worked out.

    Of a file that is no database, none.
    """
    try:
        with closing(sqlite3.connect(f"file:{quote(str(path))}?mode=ro", uri=True)) as database:
            found = database.execute("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL").fetchall()
            return [name for name, sql in found if not _ROWS.match(sql) or _has_made_up(database, name, sql)]
    except (sqlite3.Error, UnicodeDecodeError):
        return []  # no database: GDAL says so


def tiles_in(path: Path) -> list[str]:
    """Return the tiles that an index of tiles lists: a GeoPackage with one layer, in whose column `location` paths are,
    relative to the index (GDAL's convention, recalled).

    Of any other file, none.
    """
    if path.suffix.lower() != ".gpkg" or not path.is_file() or queries_in(path):
        return []
    try:
        with closing(sqlite3.connect(f"file:{quote(str(path))}?mode=ro", uri=True)) as database:
            layers = database.execute("SELECT table_name, data_type FROM gpkg_contents").fetchall()
            if [kind for _, kind in layers] != ["features"]:
                return []
            table = layers[0][0].replace('"', '""')
            rows = database.execute(f'SELECT "{table}"."location" FROM "{table}" ORDER BY rowid')
            return [str(tile) for tile, in rows]
    except (sqlite3.Error, UnicodeDecodeError, AttributeError):
        return []


def _has_made_up(database: sqlite3.Connection, name: str, sql: str) -> bool:
    """Whether a table has columns that are worked out when asked for (hidden 2 of `table_xinfo`, sqlite.org, recalled):
    a cell of a few letters may come to a thousand million."""
    return sql[:12].upper() == "CREATE TABLE" and bool(database.execute(
        "SELECT 1 FROM pragma_table_xinfo(?) WHERE hidden = 2", [name]).fetchone())
