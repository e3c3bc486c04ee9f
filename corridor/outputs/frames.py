"""Tables of a result as data frames, by name; each made when it is asked for, and anew each time."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Self

import geopandas
import numpy as np
import pandas
import pyarrow as pa
import pyogrio
import shapely
from pyproj import CRS

from corridor.outputs.batches import arrow_schema, known_layer, record_batch
from corridor.outputs.geopackage import crs_text, utc
from corridor.outputs.geoparquet import crs_of, read_table
from corridor.outputs.schema import LAYERS

__all__ = ["Columns", "Frames", "HeldFindings", "WrittenFindings", "frame_of", "read_layer"]

#: A table: values by column, each of shape (row,); "geometry" holds shapely geometries.
Columns = Mapping[str, np.ndarray]


def frame_of(columns: Columns, crs: CRS | None = None) -> pandas.DataFrame:
    """Return a table as a data frame: a GeoDataFrame where it has a column "geometry"."""
    plain = pandas.DataFrame({name: values for name, values in columns.items() if name != "geometry"}, copy=True)
    if "geometry" not in columns:
        return plain
    return geopandas.GeoDataFrame(plain, geometry=geopandas.GeoSeries(np.array(columns["geometry"], object), crs=crs))


class Frames(Mapping[str, pandas.DataFrame]):
    """Tables by name as data frames; `tables` the same as columns, `crs` that of their places.

    >>> frames = Frames({"spans": {"span": np.array(["1-2"], object), "length_m": np.array([300.0])}})
    >>> frames["spans"].loc[0, "length_m"]
    np.float64(300.0)
    >>> list(frames)
    ['spans']
    """

    def __init__(self, tables: Mapping[str, Columns], crs: CRS | None = None) -> None:
        self.tables, self.crs = tables, crs

    def __getitem__(self, name: str) -> pandas.DataFrame:
        if name not in self.tables:
            raise KeyError(f"{name!r}; there are {', '.join(self.tables)}")
        return self._made(name)

    def _made(self, name):
        return frame_of(self.tables[name], self.crs)

    def __contains__(self, name: object) -> bool:
        return name in self.tables

    def __iter__(self) -> Iterator[str]:
        return iter(self.tables)

    def __len__(self) -> int:
        return len(self.tables)


class HeldFindings(Frames):
    """Findings that are kept in memory, layer by layer, as a GeoPackage would have them; written like one."""

    def __init__(self, crs: CRS, time: datetime | None = None) -> None:
        super().__init__({layer.name: [] for layer in LAYERS}, CRS.from_user_input(crs_text(crs)))
        self.time = utc(time)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def add(self, name: str, columns: Columns) -> None:
        """Add rows to a layer, as `corridor.outputs.geopackage.FindingsWriter.add` does."""
        self.tables[name].append(record_batch(known_layer(name), columns))

    def close(self) -> None:
        """Do nothing: there is no file."""

    def _made(self, name):
        return _of_table(pa.Table.from_batches(self.tables[name], arrow_schema(known_layer(name))), self.crs)


def _of_table(table, crs):
    """An Arrow table of findings as a data frame."""
    columns = {column: _as_read(table[column]) for column in table.column_names}
    if "geometry" in columns:
        columns["geometry"] = shapely.from_wkb(columns["geometry"])
    return frame_of(columns, crs)


def _as_read(column):
    """Values of a column as those that a file gives: yes and no are numbers where some are null."""
    if pa.types.is_timestamp(column.type):
        return column.to_pandas()
    if pa.types.is_boolean(column.type) and column.null_count:
        column = column.cast(pa.int8())
    return column.to_numpy()


def read_layer(findings: Path, name: str, columns: Sequence[str] | None = None,
               only: Mapping[str, Sequence[str | None]] | None = None) -> pandas.DataFrame:
    """Return a layer of written findings as a data frame, of a spatial one a GeoDataFrame.

    Parameters
    ----------
    findings : Path
        A GeoPackage, or a folder of GeoParquet files.
    name : str
    columns : sequence of str, optional
        Those that are read, as far as they are there; default: all.
    only : dict of str to sequence, optional
        Texts, None among them for null, that columns may have in rows that are read.

    Raises
    ------
    pyogrio.errors.DataSourceError, OSError, ValueError
        There is no such layer, or it cannot be read.
    """
    if findings.is_dir():
        return _of_table(read_table(findings, name, columns, only), crs_of(findings, name))
    where = " AND ".join(_one_of(column, values) for column, values in (only or {}).items())
    return pyogrio.read_dataframe(findings, layer=name, columns=columns, where=where or None)


def _one_of(column, values):
    """SQL for a column with one of some texts, or null."""
    texts = ", ".join("'" + value.replace("'", "''") + "'" for value in values if value is not None)
    return f'("{column}" IN ({texts}){f" OR {chr(34)}{column}{chr(34)} IS NULL" if None in values else ""})'


class WrittenFindings(Frames):
    """Findings in a file or folder, a layer read when it is asked for."""

    def __init__(self, path: Path) -> None:
        super().__init__({layer.name: {} for layer in LAYERS})
        self.path = path

    def _made(self, name):
        return read_layer(self.path, name)
