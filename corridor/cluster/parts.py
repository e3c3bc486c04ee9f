"""What one batch comes to, as a file: a zip of Arrow tables (layers) and numpy arrays, exact to the last bit.

Nothing in it is run when it is read: no pickles.
"""

import io
import json
import os
import zipfile
from pathlib import Path

import numpy as np
import pyarrow as pa
import shapely

from corridor.clearance.spread import Chances
from corridor.inspection.around import Seen
from corridor.temporary import unfinished

__all__ = ["read_part", "write_part"]

#: What of a batch is no layer.
_TOTALS, _CHANCES, _SEEN = "structure_totals", "chances", "seen"


def write_part(path: Path, batch: dict, met: list[dict]) -> None:
    """Write what a batch comes to; the file gets its name when it is whole.

    Parameters
    ----------
    path : Path
    batch : dict
        As `corridor.check.assess_batch` returns it.
    met : list of dict
        As `corridor.inputs.terrain.Terrain.met` tells it.
    """
    batch = dict(batch)
    arrays = {f"{_TOTALS}.{i}": each for i, each in enumerate(batch.pop(_TOTALS, ()))}
    sure, seen = batch.pop(_CHANCES, ()), batch.pop(_SEEN, None)
    arrays |= {f"{_CHANCES}.{name}": each for name, each in (sure[0]._asdict() if sure else {}).items()}
    arrays |= {f"{_SEEN}.{name}": each for name, each in ({} if seen is None else seen._asdict()).items()}
    temporary = unfinished(path)
    try:
        with zipfile.ZipFile(temporary, "w") as file:
            told = [[(int(block), [(path, int(count)) for path, count in each]) for block, each in grid.items()]
                    for grid in met]
            file.writestr("met.json", json.dumps(told))
            for name, array in arrays.items():
                file.writestr(f"{name}.npy", _npy(array))
            for layer, columns in batch.items():
                file.writestr(f"{layer}.arrow", _arrow(columns))
        with temporary.open("rb+") as written:
            os.fsync(written.fileno())
        os.replace(temporary, path)
    finally:
        temporary.unlink(missing_ok=True)


def read_part(path: Path) -> tuple[dict, list[dict]]:
    """Return the batch and `met`, as they were written.

    Raises
    ------
    OSError, zipfile.BadZipFile, ValueError
        It cannot be read, or is damaged: each member has a checksum.
    """
    batch, arrays = {}, {}
    with zipfile.ZipFile(path) as file:
        told = json.loads(file.read("met.json"))
        met = [{block: [tuple(pair) for pair in each] for block, each in grid} for grid in told]
        for member in file.namelist():
            name, _, kind = member.rpartition(".")
            if kind == "npy":
                arrays[name] = np.load(io.BytesIO(file.read(member)), allow_pickle=False)
            elif kind == "arrow":
                batch[name] = _columns(file.read(member))

    def of(word, names):
        return [arrays[f"{word}.{name}"] for name in names if f"{word}.{name}" in arrays]

    batch[_TOTALS] = tuple(of(_TOTALS, range(2)))
    sure, seen = of(_CHANCES, Chances._fields), of(_SEEN, Seen._fields)
    batch[_CHANCES] = (Chances(*sure), batch["clearances"]) if sure else ()
    return batch | ({_SEEN: Seen(*seen)} if seen else {}), met


def _npy(array):
    stream = io.BytesIO()
    np.save(stream, np.asarray(array), allow_pickle=False)
    return stream.getvalue()


def _arrow(columns):
    """Columns as an Arrow stream; a field tells which kind of array it was made of."""
    packed = {name: _packed(np.asarray(values) if name != "geometry" else np.fromiter(values, object, len(values)))
              for name, values in columns.items()}
    schema = pa.schema([pa.field(name, cells.type, metadata={"kind": kind}) for name, (cells, kind) in packed.items()])
    stream = io.BytesIO()
    with pa.ipc.new_stream(stream, schema, options=pa.ipc.IpcWriteOptions(compression="zstd")) as writer:
        writer.write_batch(pa.RecordBatch.from_arrays([cells for cells, _ in packed.values()], schema=schema))
    return stream.getvalue()


def _packed(values):
    """An array as Arrow cells, and its kind: of dtype, or places."""
    if values.dtype.kind != "O":
        return pa.array(values.tolist() if values.dtype.kind == "U" else values), values.dtype.str
    if any(isinstance(each, shapely.Geometry) for each in values):
        return pa.array(shapely.to_wkb(values, output_dimension=3, flavor="iso"), pa.binary()), "place"
    return pa.array([each.item() if isinstance(each, np.generic) else each for each in values.tolist()]), "O"


def _columns(data):
    table = pa.ipc.open_stream(data).read_all()
    return {field.name: _unpacked(table.column(field.name), field.metadata[b"kind"].decode()) for field in table.schema}


def _unpacked(cells, kind):
    if kind == "O":
        return np.fromiter(cells.to_pylist(), object, len(cells))
    if kind == "place":
        return shapely.from_wkb(np.fromiter(cells.to_pylist(), object, len(cells)))
    return cells.to_numpy().astype(kind) if len(cells) else np.zeros(0, kind)
