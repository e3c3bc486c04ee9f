"""Table of a study for how new wires are strung."""

from pydantic import Field

from corridor.errors import InputError, nearest
from corridor.study.table import Table, Text

__all__ = ["Stringing", "check_block_ends"]


class Stringing(Table):
    """How new wires are strung: in blocks, each pulled through travellers, sagged and clipped in by itself."""

    block_ends: tuple[Text, ...] = Field((), description=(
        "Names of suspension structures at which a block ends and the next begins. The wire is anchored there while "
        "either is in travellers. Strain structures always end one."))


def check_block_ends(path, stringing, structures):
    """Refuse ends of blocks that are no suspension structure of any line.

    Parameters
    ----------
    path : path
        Of the study, for the message.
    stringing : Stringing or None
    structures : Structures

    Raises
    ------
    InputError
    """
    known = set(structures.structure[structures.role == "suspension"].tolist())
    for i, name in enumerate(() if stringing is None else stringing.block_ends):
        if name not in known:
            raise InputError(path, f"stringing.block_ends.{i}", repr(name),
                             "a suspension structure: strain structures end a block anyway", nearest(name, known))
