"""Rows of findings on their way to a file: columns of numpy arrays in, Arrow batches out.

GDAL takes almost anything it is handed and stores it changed: text as 0.0, a 2D line in a layer of
3D ones, a point among lines. So what breaks the schema is refused here.
"""

from datetime import datetime

import numpy as np
import pyarrow as pa
import shapely

from corridor.errors import nearest
from corridor.outputs.schema import LAYERS
from corridor.outputs.stringing_layers import STRINGING_LAYERS

__all__ = ["arrow_schema", "as_columns", "even", "known_layer", "record_batch"]

_TYPES = {"text": pa.string(), "real": pa.float64(), "integer": pa.int64(), "boolean": pa.bool_(),
          "datetime": pa.timestamp("ms", tz="UTC")}
#: Kinds of numpy array that each type of column takes.
_KINDS = {"text": "UO", "real": "fiu", "integer": "iuO", "boolean": "bO", "datetime": "MO"}
_GEOMETRY_IDS = {"Point Z": 0, "LineString Z": 1, "Polygon": 3, "MultiPolygon": 6}
_WKB = {"ARROW:extension:name": "geoarrow.wkb"}


def known_layer(name):
    """Return the layer of that name; ValueError where there is none."""
    known = {layer.name: layer for layer in (*LAYERS, *STRINGING_LAYERS)}
    if name not in known:
        raise ValueError(f"no layer {name!r}; perhaps {nearest(name, known)!r}")
    return known[name]


def as_columns(name, rows):
    """Return rows, as dicts, as the columns of the layer of that name; what a row leaves out is not known."""
    layer = known_layer(name)
    plain = {"real": (float, np.nan), "integer": (object, None), "text": (object, None), "boolean": (object, None)}
    columns = {}
    for column in layer.columns:
        kind, unknown = plain[column.type]
        values = [row.get(column.name, unknown) for row in rows]
        columns[column.name] = np.fromiter(values, kind, len(values))
    if layer.geometry:
        columns["geometry"] = np.fromiter((row["geometry"] for row in rows), object, len(rows))
    return columns


def arrow_schema(layer):
    """Return the Arrow schema of a layer; its field metadata become headings and comments."""
    fields = [pa.field(c.name, _TYPES[c.type],
                       metadata={"GDAL:OGR:alternative_name": c.alias, "GDAL:OGR:comment": c.doc})
              for c in layer.columns]
    if layer.geometry:
        fields.append(pa.field("geometry", pa.binary(), metadata=_WKB))
    return pa.schema(fields)


def record_batch(layer, columns):
    """Return the rows as Arrow has them, refused where they break the schema.

    Parameters
    ----------
    layer : Layer
    columns : dict of str to array, shape (row,)
        Values by column, as `FindingsWriter.add` takes them.

    Raises
    ------
    ValueError
    """
    known = [column.name for column in layer.columns] + ["geometry"] * bool(layer.geometry)
    for name in columns:
        if name not in known:
            raise ValueError(f"{layer.name}: no column {name!r}; perhaps {nearest(name, known)!r}")
    arrays = {name: _array(name, values) for name, values in columns.items()}
    lengths = {name: array.shape for name, array in arrays.items()}
    if len(set(lengths.values())) > 1 or any(len(shape) != 1 for shape in lengths.values()):
        raise ValueError(f"{layer.name}: columns of different or wrong shape: {lengths}")
    count = next(iter(lengths.values()), (0,))[0]
    cells = [_cells(layer, column, arrays.get(column.name), count) for column in layer.columns]
    if layer.geometry:
        cells.append(_wkb(layer, arrays.get("geometry"), count))
    return pa.RecordBatch.from_arrays(cells, schema=arrow_schema(layer))


def even(batches, size):
    """Yield the same rows in batches of `size`, the last one shorter.

    GDAL commits each batch and SQLite counts the commits in the file, so that without this the
    bytes would depend on how the rows came.
    """
    held, rows = [], 0
    for batch in batches:
        held.append(batch)
        rows += batch.num_rows
        if rows >= size:
            table = pa.Table.from_batches(held).combine_chunks()
            whole = rows - rows % size
            yield from table.slice(0, whole).to_batches(max_chunksize=size)
            held, rows = table.slice(whole).to_batches(), rows - whole
    if held:
        yield from pa.Table.from_batches(held).combine_chunks().to_batches()


def _array(name, values):
    if name != "geometry":
        return np.asarray(values)
    # numpy would make byte strings of a list of WKB and cut their trailing zeros off.
    return np.fromiter(values, object, len(values))


def _cells(layer, column, values, count):
    """Return one column as an Arrow array, nulls in place of NaN, None and ""."""
    where = f"{layer.name}.{column.name}"
    if values is None or not count:
        cells = pa.nulls(count, _TYPES[column.type])
    elif values.dtype.kind not in _KINDS[column.type]:
        raise ValueError(f"{where}: {values.dtype} where {column.type} is wanted")
    else:
        cells = _CONVERTERS.get(column.type, _plain)(where, values, _TYPES[column.type])
    if column.required and cells.null_count:
        raise ValueError(f"{where}: {cells.null_count} of {count} rows have no value, and none may "
                         "lack it")
    return cells


def _plain(where, values, kind):
    try:
        return pa.array(values, kind, from_pandas=True)
    except (pa.ArrowInvalid, pa.ArrowTypeError) as error:
        raise ValueError(f"{where}: {error}") from error


def _real(where, values, kind):
    values = values.astype(float) + 0.0  # no -0.0, which SQLite keeps as 0.0
    if np.isinf(values).any():
        raise ValueError(f"{where}: an infinite value; what is not known is NaN")
    return pa.array(values, kind, from_pandas=True)


def _text(where, values, kind):
    blank = values == ""
    if (values == "nan").any():
        raise ValueError(f"{where}: the text 'nan'; what is not known is None")
    if blank.any():
        values = np.where(blank, None, values)
    return _plain(where, values, kind)


def _datetime(where, values, kind):
    if any(isinstance(v, datetime) and v.tzinfo is None for v in values.tolist()
           if values.dtype.kind == "O"):
        raise ValueError(f"{where}: a time without its zone")
    return _plain(where, values if values.dtype.kind == "O" else values.astype("M8[ms]"), kind)


_CONVERTERS = {"text": _text, "real": _real, "datetime": _datetime}


def _wkb(layer, geometry, count):
    """Return the geometry column as WKB; refuse another type, a missing Z and a broken place."""
    if geometry is None:
        return pa.nulls(count, pa.binary())
    if count and isinstance(next((g for g in geometry if g is not None), None), bytes):
        geometry = shapely.from_wkb(geometry)
    present = geometry[~shapely.is_missing(geometry)]
    wanted = _GEOMETRY_IDS[layer.geometry]
    faults = {f"is no {layer.geometry}": shapely.get_type_id(present) != wanted,
              "is empty": shapely.is_empty(present),
              "has no Z": ~shapely.has_z(present) & layer.geometry.endswith(" Z")}
    for fault, rows in faults.items():
        if rows.any():
            raise ValueError(f"{layer.name}.geometry: {rows.sum()} of {count} rows: {fault}")
    if not np.isfinite(shapely.get_coordinates(present)).all():
        raise ValueError(f"{layer.name}.geometry: an easting or northing that is not finite")
    return pa.array(shapely.to_wkb(geometry, output_dimension=3, flavor="iso"), pa.binary())
