"""Tables as one workbook (Office Open XML, ECMA-376): heads frozen, with units, and filters on every column."""

import re
from datetime import UTC, datetime
from importlib.util import find_spec
from pathlib import Path
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

import numpy as np

from corridor.errors import CorridorError, InputError
from corridor.outputs.columns import SUFFIXES, digits_of, rounded
from corridor.outputs.guard import MARK
from corridor.outputs.schema import LAYERS
from corridor.outputs.stringing_layers import STRINGING_LAYERS

__all__ = ["heading", "need_workbook", "write_workbook"]

#: Rows of a sheet, head included, that the format has room for.
ROWS = 1_048_576
#: Characters that XML 1.0 has no place for.
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f]")
_KNOWN = {column.name: column.alias for layer in (*STRINGING_LAYERS, *LAYERS) for column in layer.columns}
_UNITS = {ending: unit for unit, ending in SUFFIXES.items() if ending} | {
    "_m_s": "m/s", "_mwh_per_km": "MWh/km", "_percent": "%"}


def heading(name):
    """Return the heading of a column: its name in words, with its unit.

    >>> heading("margin_m"), heading("return_time_s"), heading("span")
    ('Margin [m]', 'Return time [s]', 'Span')
    """
    if name in _KNOWN:
        return _KNOWN[name]
    ending = max((e for e in _UNITS if name.endswith(e)), key=len, default="")
    words = name.removesuffix(ending).replace("_", " ")
    words = words[:1].upper() + words[1:]
    return f"{words} [{_UNITS[ending]}]" if ending else words


def need_workbook():
    """Raise CorridorError where the library that writes workbooks is missing."""
    if find_spec("openpyxl") is None:
        raise CorridorError("a workbook needs openpyxl: pip install 'corridor[workbook]'")


def write_workbook(path, sheets, time, *, cover=()):
    """Write tables as the sheets of a workbook.

    Parameters
    ----------
    path : path
    sheets : dict of str to dict
        Columns, each of shape (row,), by the name of the sheet. Null, None and nan are empty cells.
    time : datetime or None
        When the workbook says it was made; None: now.
    cover : sequence of (str, str)
        What a first sheet says, in two columns; none: no such sheet.

    Raises
    ------
    InputError
        A table has more rows than a sheet has room for.
    CorridorError
        openpyxl is not there.
    """
    need_workbook()
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    book.properties.creator = "corridor"
    book.properties.created = (time or datetime.now(UTC)).astimezone(UTC).replace(tzinfo=None)
    if cover:
        _fill_cover(book.create_sheet("cover"), cover)
    for name, columns in sheets.items():
        rows = len(next(iter(columns.values()), ()))
        if rows >= ROWS:
            raise InputError(Path(path), name, f"{rows} rows", f"at most {ROWS - 1}", "take the CSV files")
        _fill(book.create_sheet(name[:31]), columns, rows)
    book.save(path)
    _restamp(path, time)


def _restamp(path, time):
    """Write the archive anew with the time of the run in place of that of the writing, which its library sets."""
    with ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    core = "docProps/core.xml"
    stamp = time.strftime("%Y-%m-%dT%H:%M:%SZ").encode()
    parts[core] = re.sub(rb"(<dcterms:modified[^>]*>)[^<]*", rb"\g<1>" + stamp, parts[core])
    with ZipFile(path, "w", ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            # The format counts years from 1980.
            archive.writestr(ZipInfo(name, max(time.timetuple()[:6], (1980, 1, 1, 0, 0, 0))), content, ZIP_DEFLATED)
        archive.comment = MARK.encode()


def _fill_cover(sheet, lines):
    from openpyxl.styles import Alignment, Font

    sheet.column_dimensions["A"].width, sheet.column_dimensions["B"].width = 24, 100
    _on_paper(sheet)
    for head, words in lines:
        row = [_cell(sheet, text) for text in (head or "", words or "")]
        row[0].font, row[1].alignment = Font(bold=True), Alignment(wrap_text=True, vertical="top")
        sheet.append(row)


def _on_paper(sheet):
    """A3 across where it is printed, as wide as the paper, with the name of the sheet and the page."""
    sheet.page_setup.orientation, sheet.page_setup.paperSize = "landscape", 8
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.oddFooter.left.text, sheet.oddFooter.right.text = "&A", "&P / &N"


def _fill(sheet, columns, rows):
    from openpyxl.styles import Alignment, Font, PatternFill
    from openpyxl.utils import get_column_letter

    _on_paper(sheet)
    heads = [heading(name) for name in columns]
    values = [[_value(v, name, digits_of(name)) for v in column] for name, column in columns.items()]
    for index, (head, column) in enumerate(zip(heads, values, strict=True), start=1):
        longest = max((len(v) for v in column[:500] if isinstance(v, str)), default=0)
        sheet.column_dimensions[get_column_letter(index)].width = min(max(longest + 2, 12, len(head) / 2 + 4), 48)
    sheet.freeze_panes, sheet.print_title_rows = "A2", "1:1"
    sheet.auto_filter.ref = f"A1:{get_column_letter(max(len(heads), 1))}{rows + 1}"
    top = [_cell(sheet, head) for head in heads]
    for made in top:
        made.font, made.alignment = Font(bold=True), Alignment(wrap_text=True, vertical="top")
    sheet.append(top)
    forms = [_form(name) for name in columns]
    short, bad = [name.startswith("margin") for name in columns], (Font(bold=True, color="FFA83E00"),
                                                                   PatternFill("solid", fgColor="FFFFE3D3"))
    for row in zip(*values, strict=True):
        made = [_cell(sheet, value, form) for value, form in zip(row, forms, strict=True)]
        for cell, value, own in zip(made, row, short, strict=True):
            if own and isinstance(value, float) and value < 0:
                cell.font, cell.fill = bad
        sheet.append(made)


def _form(name):
    """How the numbers of a column are shown, None: as they are."""
    digits = digits_of(name)
    return ("0.00000" if name == "diameter_m" else None) if digits is None else f"0.{'0' * digits}" if digits else "0"


def _cell(sheet, value, form=None):
    """A cell; plain numbers and nulls need none of their own."""
    from openpyxl.cell import WriteOnlyCell

    if value is None or (form is None and not isinstance(value, str)):
        return value
    made = WriteOnlyCell(sheet, value)
    if isinstance(value, str):
        made.data_type = "s"  # a name that begins with "=" is no formula
    elif form is not None and isinstance(value, float):
        made.number_format = form
    return made


def _value(value, name, digits):
    """A value as a cell holds it, rounded as it is shown; null as None."""
    if value is None:
        return None
    if isinstance(value, str):
        return _CONTROL.sub(" ", value)
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if isinstance(value, int | np.integer):
        return int(value)
    if not np.isfinite(value):
        return None
    return float(value) if digits is None else rounded(name, value, digits)
