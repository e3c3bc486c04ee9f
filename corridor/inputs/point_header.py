"""Whether a tile of points can be as large as it says, before a library takes its word and asks for so much memory.

The layout is that of LAS 1.0 to 1.4 (ASPRS LAS 1.4, R15, tables 3 and 19, recalled), that of a packed tile's table of
chunks as LASzip writes it.
"""

import os
import struct

__all__ = ["fault_of"]

#: Bytes of a point: of the formats 0 to 10 at most 67, and as many more as anybody adds.
_LONGEST = 4096
#: Fewest bits of a point of a packed tile: below that no measured points are packed.
_BITS = 1 / 64
_PACKED = 0x80


def fault_of(path, points=True):
    """Return what cannot be so in the header of a tile, None where there is nothing.

    Parameters
    ----------
    path : path
    points : bool
        Whether the points are to be read, too: of a tile that is only described, their end is not asked for.

    Raises
    ------
    OSError
        It cannot be read.
    struct.error
        It ends within its header.
    """
    size = os.path.getsize(path)
    with open(path, "rb") as file:
        head = file.read(375)
        if head[:4] != b"LASF":
            return "it does not begin as one"
        offset, records, kind, length, count = struct.unpack_from("<IIBHI", head, 96)
        count, extended = (count, None) if head[25] < 4 else (struct.unpack_from("<Q", head, 247)[0],
                                                              struct.unpack_from("<QI", head, 235))
        if not 20 <= length <= _LONGEST:
            return f"{length} bytes a point"
        if not 227 <= offset <= size or records * 54 > offset:
            return f"{records} records before points at byte {offset} of {size}"
        if extended and extended[1]:
            if fault := _extended(file, size, *extended):
                return fault
        if kind & _PACKED and count * _BITS / 8 > size:
            return f"{count} points in {size} bytes"
        if not points:
            return None
        if kind & _PACKED:
            return _chunks(file, size, offset, count)
        return f"{count} points of {length} bytes in {size} bytes" if offset + count * length > size else None


def _extended(file, size, place, number):
    for _ in range(number):
        if place + 60 > size:
            return f"a record at byte {place} of {size}"
        file.seek(place + 20)
        place += 60 + struct.unpack("<Q", file.read(8))[0]
    return f"a record up to byte {place} of {size}" if place > size else None


def _chunks(file, size, offset, count):
    if not count:
        return None
    file.seek(offset)
    place, = struct.unpack("<q", file.read(8))
    if place == -1:  # written to a stream: it is told at the end
        file.seek(size - 8)
        place, = struct.unpack("<q", file.read(8))
    if not offset < place <= size - 8:
        return f"a table of chunks at byte {place} of {size}"
    file.seek(place + 4)
    number, = struct.unpack("<I", file.read(4))
    return f"{number} chunks of {count} points" if number > min(count, size) else None
