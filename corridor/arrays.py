"""The types of arrays that every room shares.

A function of arrays takes a scalar, too, and then returns numpy's scalar, which has all that an `Array` has.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Array", "ArrayLike", "Booleans", "Index", "Integers", "Number", "Texts"]

#: Real numbers; nan is what is not known.
Array = NDArray[np.float64]
#: Indices, offsets, counts.
Integers = NDArray[np.intp]
#: Yes or no.
Booleans = NDArray[np.bool_]
#: Texts, or other objects.
Texts = NDArray[np.object_]
#: What picks rows of columns.
Index = slice | Integers | Booleans | tuple[slice | Integers | None, ...]
#: A number, or an array of them.
Number = float | Array
