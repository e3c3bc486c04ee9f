"""Write the findings to a GeoPackage, or to a folder of GeoParquet files, whole or not at all.

Rows come in batches, layer by layer or mixed, and wait in unnamed files that vanish with the
process. `close` makes the GeoPackage under a temporary name beside the target, every layer of the
schema in its order, adds the styles, checks what was written, and only then gives it its name; of a
folder likewise.
"""

import json
import tempfile
from collections import Counter
from contextlib import ExitStack, closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from sqlite3 import connect

import pyarrow as pa
import pyogrio
from pyproj import CRS

from corridor.errors import CorridorError
from corridor.outputs.batches import arrow_schema, even, known_layer, record_batch
from corridor.outputs.digests import Digest, digest_of_rows, digested
from corridor.outputs.files import Files, disk_errors
from corridor.outputs.geoparquet import write_geoparquet
from corridor.outputs.guard import FOLDER, PLAIN, findings_kind
from corridor.outputs.schema import INVARIANTS, LAYERS
from corridor.outputs.style_documents import style

__all__ = ["FindingsWriter", "clock", "layer_digests"]

#: QGIS and GDAL of 2021 still open version 1.3 without a warning, and 1.4 adds nothing used here.
VERSION = "1.3"

#: Rows that GDAL gets at a time.
ROWS = 65_536

_STYLE_TABLE = """CREATE TABLE layer_styles (
    id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, f_table_catalog TEXT(256),
    f_table_schema TEXT(256), f_table_name TEXT(256), f_geometry_column TEXT(256),
    styleName TEXT(30), styleQML TEXT, styleSLD TEXT, useAsDefault BOOLEAN, description TEXT,
    owner TEXT(30), ui TEXT(30), update_time DATETIME DEFAULT
    (strftime('%Y-%m-%dT%H:%M:%fZ','now')))"""


class FindingsWriter:
    """Collect findings and write them as one GeoPackage, or as one folder of GeoParquet files.

    Parameters
    ----------
    path : path
        The GeoPackage to write; a folder where it ends in .parquet.
    crs : pyproj.CRS or str
        The working frame; a compound one says what elevations are above.
    guard : Guard
        What must not be written over, besides all that is no findings.
    time : datetime or None
        The time written into the file, with its zone; None: now. The same rows and the same time
        give the same bytes.

    Raises
    ------
    InputError
        When the target must not be replaced or its folder does not exist.
    MachineError
        When the folder cannot be written, or a program holds the target from the start.

    Notes
    -----
    `path` is where the findings are: beside the target, with a warning, where that could not be
    replaced. Leaving the `with` block by an exception writes nothing; what stood at `path` stays as it was.

    Examples
    --------
    >>> import shapely
    >>> folder = tempfile.TemporaryDirectory()
    >>> with FindingsWriter(folder.name + "/findings.gpkg", "EPSG:25832") as findings:
    ...     findings.add("spans", {"line": ["A"], "span": ["1-2"],
    ...                            "geometry": shapely.from_wkt(["LINESTRING Z (0 0 5, 9 0 6)"])})
    >>> findings.path.name
    'findings.gpkg'
    >>> folder.cleanup()
    """

    def __init__(self, path, crs, *, guard=PLAIN, time=None):
        self.path = Path(path)
        self.time = utc(time)
        self._crs = crs_text(crs)
        self._counts = Counter()
        self._digests = {layer.name: Digest(layer) for layer in LAYERS}
        self._spools = {}
        self._files = ExitStack()
        self._done = False
        self._out = Files(guard)
        self._temporary = self._out.new(path, findings_kind(self.path))
        with disk_errors(self.path):
            self._new_file().close()  # whether the folder can be written, asked now

    def __enter__(self):
        return self

    def __exit__(self, kind, value, traceback):
        if kind is None:
            self.close()
        else:
            with disk_errors(self.path):
                self._files.close()

    def add(self, name, columns):
        """Add rows to a layer.

        Parameters
        ----------
        name : str
            A layer of the schema.
        columns : dict of str to array, shape (row,)
            Values by column; "geometry" holds shapely geometries or WKB, None where there is no
            place. A column that may be null can be left out. NaN, None and "" become null.

        Raises
        ------
        ValueError
            When the rows break the schema: an unknown or missing column, another type, a null where
            none may be, an infinite number, a geometry of another type or without Z.
        """
        if self._done:
            raise ValueError("these findings are closed")
        batch = record_batch(known_layer(name), columns)
        if not batch.num_rows:
            return
        with disk_errors(self.path):
            if name not in self._spools:
                file = self._files.enter_context(self._new_file())
                self._spools[name] = file, pa.ipc.new_stream(file, batch.schema)
            self._spools[name][1].write_batch(batch)
        self._digests[name].add({each.name: column for each, column in zip(batch.schema, batch.columns, strict=True)})
        self._counts[name] += batch.num_rows

    def close(self):
        """Write the file or folder, check it and give it its name; once, later calls do nothing.

        Raises
        ------
        MachineError
            When the disk fails or is full.
        CorridorError
            When what was written breaks an invariant of the schema.
        """
        if self._done:
            return
        self._done = True
        digests = json.dumps({name: each.hexdigest() for name, each in self._digests.items()})
        with self._files, self._out:
            if findings_kind(self.path) == FOLDER:
                write_geoparquet(self._temporary, self._rows, self._counts, digests, CRS.from_user_input(self._crs))
            else:
                self._write_layers(self._temporary)
                _finish(self._temporary, self._counts, digests, self.time)
        self.path, = self._out.written

    def _new_file(self):
        return tempfile.TemporaryFile(dir=self.path.parent, prefix=self._temporary.name)

    def _write_layers(self, path):
        # The disk holds the file before it gets its name (`Files`), so no transaction waits for that.
        with clock(self.time), _gdal_options(OGR_SQLITE_SYNCHRONOUS="OFF", OGR_SQLITE_JOURNAL="MEMORY"):
            for layer in LAYERS:
                pyogrio.write_arrow(
                    self._rows(layer), path, layer=layer.name, driver="GPKG",
                    geometry_name="geometry" if layer.geometry else None,
                    geometry_type=layer.geometry, crs=self._crs if layer.geometry else None,
                    dataset_options={"VERSION": VERSION, "ADD_GPKG_OGR_CONTENTS": "YES"},
                    layer_options={"DESCRIPTION": layer.doc, "IDENTIFIER": _title(layer.name)})

    def _rows(self, layer, size=ROWS):
        if layer.name not in self._spools:
            return arrow_schema(layer).empty_table()
        file, stream = self._spools[layer.name]
        stream.close()
        file.seek(0)
        batches = pa.ipc.open_stream(file)
        return pa.RecordBatchReader.from_batches(batches.schema, even(batches, size))


def _title(name):
    """The name of a layer in words."""
    return name.replace("_", " ").capitalize()


def crs_text(crs):
    """Return what GDAL shall look up: the authority's code where there is one, else WKT2."""
    crs = CRS.from_user_input(crs)
    authority = crs.to_authority(min_confidence=100)
    return ":".join(authority) if authority else crs.to_wkt("WKT2_2019")


def utc(time):
    if time is None:
        return datetime.now(UTC)
    if time.tzinfo is None:
        raise ValueError("the time of the run has no zone")
    return time.astimezone(UTC)


def _stamp(time):
    return time.strftime("%Y-%m-%dT%H:%M:%S.") + f"{time.microsecond // 1000:03d}Z"


def clock(time):
    """Return a context in which GDAL writes the time of the run, not that of the writing."""
    return _gdal_options(OGR_CURRENT_DATE=_stamp(time))


@contextmanager
def _gdal_options(**options):
    before = {name: pyogrio.get_gdal_config_option(name) for name in options}
    pyogrio.set_gdal_config_options(options)
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options(before)


def _finish(path, counts, digests, time):
    """Add the styles and the digests, then check what stands in the file."""
    with closing(connect(path)) as database:
        database.execute("PRAGMA synchronous=OFF")
        with database:
            _add_styles(database, _stamp(time))
            database.execute("UPDATE run SET layer_digests = ?", [digests])
        database.execute("PRAGMA journal_mode=DELETE")
        for fault in _faults(database, counts):
            raise CorridorError(f"the findings contradict themselves and were not written: {fault}")


def layer_digests(database):
    """Return the SHA-256 over the rows of each layer of findings, in hexadecimal digits, by name.

    It is over the values that stand in the columns of the schema, in the order of the rows: what a GIS writes beside
    them, styles or columns of its own, changes nothing. The time of the run is left out: two runs
    over the same give the same.

    Parameters
    ----------
    database : sqlite3.Connection

    Raises
    ------
    sqlite3.Error
        A layer or column is not there.
    """
    return {each.name: _digest_of(database, each) for each in LAYERS}


def _digest_of(database, layer):
    # A name in double quotes that is no column would be taken as text, but not with its table before it.
    names = [f'"{layer.name}"."{name}"' for name in digested(layer)]
    place = f'"{layer.name}"."geom"' if layer.geometry else "NULL"
    rows = database.execute(f'SELECT {place}, {", ".join(names)} FROM "{layer.name}" ORDER BY rowid')
    return digest_of_rows(layer, ((_wkb(row[0]), *row[1:]) for row in rows))


def _wkb(blob):
    """The geometry of a GeoPackage without its header (OGC 12-128, clause 2.1.3), which has as much room for an
    envelope as three bits tell."""
    if not isinstance(blob, bytes) or blob[:2] != b"GP":  # none, or what somebody else put there
        return blob
    return blob[8 + (0, 32, 48, 48, 64, 0, 0, 0)[blob[3] >> 1 & 7]:]


def _add_styles(database, stamp):
    database.execute(_STYLE_TABLE)
    database.execute("INSERT INTO gpkg_contents (table_name, data_type, identifier, description, "
                     "last_change) VALUES ('layer_styles', 'attributes', 'layer_styles', 'Looks of the layers.', ?)",
                     [stamp])
    # A GIS looks a style up with the empty schema "", which is not NULL.
    database.executemany(
        "INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, "
        "f_geometry_column, styleName, styleQML, useAsDefault, description, owner, update_time) "
        "VALUES ('', '', ?, ?, 'findings', ?, 1, '', '', ?)",
        [(each.name, "geom" if each.geometry else "", style(each.name), stamp) for each in LAYERS])


def _faults(database, counts):
    """Yield what is wrong with the finished file, in words."""
    for layer in LAYERS:
        rows, = database.execute(f'SELECT count(*) FROM "{layer.name}"').fetchone()
        if rows != counts[layer.name]:
            yield f"{layer.name} has {rows} rows, {counts[layer.name]} were added"
    for sentence, query in INVARIANTS:
        broken, = database.execute(query).fetchone()
        if broken:
            yield f"not so in {broken} rows: {sentence}"
