"""Which wires are the three phases of a circuit."""

import numpy as np
from numpy.typing import NDArray

__all__ = ["phases_of"]


def phases_of(wire: NDArray[np.object_], kind: NDArray[np.object_], circuit: NDArray[np.object_]
              ) -> tuple[dict[str, list[str]], dict[str, str]]:
    """Return the wires of each circuit, and why circuits that have not three phase wires are none of three phases.

    Parameters
    ----------
    wire, kind, circuit : ndarray of str, shape (wire,)
        Names, "phase" or "shield", and names of circuits, of one framing or span.

    Examples
    --------
    >>> names = [np.array(list(text), object) for text in ("ABC", "111")]
    >>> phases_of(names[0], np.array(["phase", "phase", "shield"], object), names[1])
    ({'1': ['A', 'B']}, {'1': 'circuit 1 has 2 phase wires, not 3'})
    """
    phase = kind == "phase"
    found = {name: sorted(wire[phase & (circuit == name)]) for name in dict.fromkeys(circuit[phase])}
    return found, {name: f"circuit {name} has {len(own)} phase wires, not 3" for name, own in found.items()
                   if len(own) != 3}
