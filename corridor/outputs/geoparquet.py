"""Findings as a folder of GeoParquet files: one per layer, or one folder per layer with the files of each line.

Beside the columns of the schema each file has `fid`, the number of the row in the layer, as in a GeoPackage, and
`bbox`, the extent of its place, by which readers skip what lies elsewhere (GeoParquet 1.1.0, "covering").
"""

import json
import re
import sqlite3
from contextlib import closing

import numpy as np
import pyarrow as pa
import pyarrow.dataset as ds
import pyarrow.parquet as pq
import shapely
from pyproj import CRS

from corridor.errors import CorridorError, InputError
from corridor.outputs.batches import arrow_schema
from corridor.outputs.digests import Digest, by_line, digested
from corridor.outputs.guard import MARK, PARQUET
from corridor.outputs.schema import INVARIANTS, LAYERS

__all__ = ["crs_of", "folder_digests", "read_table", "write_geoparquet"]

_SIDES = ("xmin", "ymin", "xmax", "ymax")
_FID, _BBOX = pa.field("fid", pa.int64()), pa.field("bbox", pa.struct([(side, pa.float64()) for side in _SIDES]))
#: Files that may be open at once, of lines.
_OPEN = 200
#: Rows of a group, which are in memory at a time: places of wires are some thousand bytes each.
_ROWS = 16_384
_LINES = ds.partitioning(pa.schema([("line", pa.string())]), flavor="hive")


def write_geoparquet(folder, rows, counts, digests, crs):
    """Write findings to a new folder, and check them.

    Parameters
    ----------
    folder : Path
    rows : callable
        From a layer and a number of rows to its Arrow batches of as many.
    counts : dict
        Number of rows by name of the layer.
    digests : str
        For the layer `run`: those of all layers.
    crs : pyproj.CRS

    Raises
    ------
    CorridorError
        What was written breaks an invariant of the schema, or is not what was handed over.
    """
    folder.mkdir()
    lines = set()
    for layer in LAYERS:
        batches = _dressed(layer, rows(layer, _ROWS), crs)
        if layer.name == "run":
            table = batches.read_all()
            at = table.schema.get_field_index("layer_digests")
            told = pa.array([digests] * len(table), pa.string())
            batches = table.set_column(at, table.schema.field(at), told).to_reader()
        _write(folder, layer, batches, len(lines) > 1 and by_line(layer) and counts[layer.name])
        if layer.name == "structures":
            lines = set(read_table(folder, "structures", ["line"])["line"].to_pylist())
    for fault in _faults(folder, counts):
        raise CorridorError(f"the findings contradict themselves and were not written: {fault}")


def _write(folder, layer, batches, parted):
    """Write a layer: into one file, or into one folder with the files of each line."""
    path = folder / f"{layer.name}{PARQUET}"
    if not parted:
        with pq.ParquetWriter(path, batches.schema, compression="zstd") as writer:
            for batch in batches:
                writer.write_batch(batch)
        return
    ds.write_dataset(batches, path, format="parquet", partitioning=_LINES, use_threads=False,
                     basename_template="part-{i}.parquet", max_open_files=_OPEN, max_partitions=1_000_000,
                     file_options=ds.ParquetFileFormat().make_write_options(compression="zstd"))


def _dressed(layer, batches, crs):
    """The batches of a layer with the number of each row, its extent, and what GeoParquet wants to be told."""
    schema = arrow_schema(layer)
    fields, told = [_FID, *schema], {"corridor": MARK}
    if layer.geometry:
        fields.append(_BBOX)
        told["geo"] = json.dumps(_geo(layer, crs), ensure_ascii=False)
    # GDAL tells places in Arrow by an extension of the field, GeoParquet by the metadata of the file.
    fields = [pa.field(f.name, f.type) if f.name == "geometry" else f for f in fields]
    schema = pa.schema(fields, metadata=told)
    return pa.RecordBatchReader.from_batches(schema, _numbered(layer, batches, schema))


def _numbered(layer, batches, schema):
    number = 1
    for batch in batches if not isinstance(batches, pa.Table) else batches.to_batches():
        count = batch.num_rows
        columns = [pa.array(np.arange(number, number + count)), *batch.columns]
        if layer.geometry:
            columns.append(_extents(batch.column("geometry")))
        yield pa.RecordBatch.from_arrays(columns, schema=schema)
        number += count


def _extents(wkb):
    """The extent of each place; of none there is none."""
    bounds = shapely.bounds(shapely.from_wkb(wkb.to_numpy(zero_copy_only=False)))
    sides = [pa.array(side, from_pandas=True) for side in bounds.T]
    return pa.StructArray.from_arrays(sides, fields=list(_BBOX.type), mask=wkb.is_null())


def _geo(layer, crs):
    """What GeoParquet 1.1.0 wants to be told of a layer."""
    column = {"encoding": "WKB", "geometry_types": [layer.geometry], "crs": crs.to_json_dict(),
              "covering": {"bbox": {side: ["bbox", side] for side in _SIDES}}}
    return {"version": "1.1.0", "primary_column": "geometry", "columns": {"geometry": column}}


def read_table(folder, name, columns=None, only=None):
    """Return a layer of a folder of findings, or some columns of it, as an Arrow table with its rows in their order.

    Parameters
    ----------
    folder : Path
    name : str
    columns : list of str, optional
        Those that are there are read; default: all of the schema, and "geometry".
    only : dict of str to list, optional
        Values, None among them for null, that columns may have in rows that are read.

    Raises
    ------
    OSError, ValueError
        There is no such layer, or it cannot be read (pyarrow.ArrowInvalid).
    """
    data = _data(folder, name)
    wanted = [each for each in data.schema.names if each not in ("fid", "bbox")
              and (columns is None or each in (*columns, "geometry"))]
    chosen = None
    for column, values in (only or {}).items():
        field = ds.field(column)
        here = field.isin([value for value in values if value is not None])
        here = here | field.is_null() if None in values else here
        chosen = here if chosen is None else chosen & here
    table = data.to_table(columns=["fid", *wanted], filter=chosen)
    order = next(each for each in LAYERS if each.name == name)
    names = [column.name for column in order.columns if column.name in wanted]
    names += ["geometry"] * ("geometry" in wanted)
    return table.sort_by("fid").select(names)


def _data(folder, name):
    path = folder / f"{name}{PARQUET}"
    return ds.dataset(path, format="parquet", partitioning=_LINES if path.is_dir() else None)


def crs_of(folder, name):
    """Return the CRS of a layer, None where it has no places."""
    geo = json.loads((_data(folder, name).schema.metadata or {}).get(b"geo", b"null"))
    return None if geo is None else CRS.from_json_dict(geo["columns"]["geometry"]["crs"])


def folder_digests(folder):
    """Return the digest of the rows of each layer in a folder of findings, by name, as those of a GeoPackage are.

    Raises
    ------
    OSError, ValueError
        A layer is not there or cannot be read.
    InputError
        A row of a layer that is told line by line has no line.
    """
    return {layer.name: _digest(folder, layer) for layer in LAYERS}


def _digest(folder, layer):
    """The digest of rows line after line, those of a line in their order."""
    data, found = _data(folder, layer.name), Digest(layer)
    columns = ["fid", *(["geometry"] if layer.geometry else []), *digested(layer)]
    path = folder / f"{layer.name}{PARQUET}"
    if path.is_dir():
        lines = sorted({ds.get_partition_keys(part.partition_expression).get("line")
                        for part in data.get_fragments()}, key=str)
        batches = (batch for line in lines for batch in data.to_table(columns, filter=ds.field("line") == line)
                   .sort_by("fid").to_batches(_ROWS))
    else:
        batches = data.to_batches(columns=columns, batch_size=_ROWS, use_threads=False)
    for batch in batches:
        number = batch.column("fid")
        if by_line(layer) and batch.column("line").null_count:
            bare = number.filter(batch.column("line").is_null())[0]
            raise InputError(path, "line", f"none in the row of fid {bare}: somebody changed these rows",
                             "findings as `corridor check` wrote them, whose rows have a line each")
        found.add({name: batch.column(name) for name in columns[1:]}, number.to_numpy())
    return found.hexdigest()


def _plain(column):
    """Values as SQLite has them."""
    return (column.cast(pa.int8()) if pa.types.is_boolean(column.type) else column).to_pylist()


def _faults(folder, counts):
    """Yield what is wrong with the finished files, in words."""
    for layer in LAYERS:
        rows = _data(folder, layer.name).count_rows()
        if rows != counts[layer.name]:
            yield f"{layer.name} has {rows} rows, {counts[layer.name]} were added"
    with closing(sqlite3.connect("")) as database:  # on the disk, should it need much room, and gone at the end
        for layer in LAYERS:
            _lend(database, folder, layer)
        for sentence, query in INVARIANTS:
            broken, = database.execute(query).fetchone()
            if broken:
                yield f"not so in {broken} rows: {sentence}"


def _lend(database, folder, layer):
    """Put those columns of a layer into a database that invariants ask for."""
    asked = [query for _, query in INVARIANTS if re.search(rf"\b{layer.name}\b", query)]
    names = [c.name for c in layer.columns if any(re.search(rf"\b{c.name}\b", query) for query in asked)]
    if names:
        database.execute(f'CREATE TABLE "{layer.name}" ({", ".join(f"{chr(34)}{name}{chr(34)}" for name in names)})')
        into = f'INSERT INTO "{layer.name}" VALUES ({", ".join("?" * len(names))})'
        for batch in _data(folder, layer.name).to_batches(columns=names, batch_size=_ROWS):
            database.executemany(into, zip(*(_plain(batch.column(name)) for name in names), strict=True))
