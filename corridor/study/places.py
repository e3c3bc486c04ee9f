"""Where a fault of a study stands, in words: items of a list by their names."""

import re

__all__ = ["place_of"]


def place_of(tables, where):
    """Return the place of a key with the names of what it belongs to in lieu of their numbers.

    A number stays where there is no name, or where the name is what is at fault: not a text, or that of two.

    >>> tables = {"options": [{"name": "existing"}, {"name": "thermal alloy", "stringing": [{}]}]}
    >>> place_of(tables, "options.0.bundle")
    'options.existing.bundle'
    >>> place_of(tables, "options.1.stringing.0.limit")
    'options."thermal alloy".stringing.0.limit'
    >>> place_of(tables, "options.0.name")
    'options.0.name'
    """
    parts, here = where.split("."), tables
    for i, part in enumerate(parts):
        if isinstance(here, list) and part.isdigit() and int(part) < len(here):
            names = [item.get("name") if isinstance(item, dict) else None for item in here]
            here, name = here[int(part)], names[int(part)]
            if isinstance(name, str) and name.strip() and names.count(name) == 1 and parts[i + 1:] != ["name"]:
                parts[i] = name if re.fullmatch(r"[\w-]+", name) else f'"{name}"'
        else:
            here = here.get(part) if isinstance(here, dict) else None
    return ".".join(parts)
