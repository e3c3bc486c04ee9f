"""The text of a study as it is made, line by line, with what is assumed marked where it stands and told in a table."""

import json
import re

__all__ = ["Draft"]

_BARE = re.compile(r"[A-Za-z0-9_-]+")


class Draft:
    """Lines of TOML; `assumed` rows of key, value and reason, `columns` of obstacles by what they are."""

    def __init__(self):
        self._lines, self.assumed, self.columns, self.place = [], [], [], ""

    def table(self, name, place=None):
        """Begin a table, or one of a list; `place` is what assumptions in it are told by."""
        self._lines += ["", name]
        self.place = place or name.strip("[]")

    def put(self, key, value, reason=None, *, mark=None):
        """Write a key; with a reason it is an assumption, and with a mark one that another row tells of."""
        words = reason or mark
        if key.endswith("column") and self.place.startswith("obstacles."):
            self.columns.append((f"{self.place}.{key}", value))
        self._lines.append(f"{key} = {_toml(value)}" + (f"  # assumed: {words}" if words else ""))
        if reason:
            self.assume(f"{self.place}.{key}".lstrip("."), value, reason)

    def assume(self, key, value, reason):
        """Note an assumption that stands in no key of the study, or in many."""
        self.assumed.append((key, value if isinstance(value, str) else _toml(value), reason))

    def text(self):
        """Return the study file."""
        rows = []
        for key, value, reason in self.assumed:
            rows += ["", "[[assumptions]]", f"key = {_toml(key)}", f"value = {_toml(value)}",
                     f"reason = {_toml(reason)}", "confirmed = false"]
        head = ["# Made by corridor new. Each assumption is a row at the end: look into it, put it right where it",
                "# stands, and write confirmed = true. Until all are confirmed no check ends as clear."]
        return "\n".join([*head, *self._lines, *rows, ""])


def _toml(value):
    """A value as TOML has it."""
    if isinstance(value, dict):
        inner = ", ".join(f"{key if _BARE.fullmatch(key) else _toml(key)} = {_toml(each)}"
                          for key, each in value.items())
        return f"{{{inner}}}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(_toml, value))}]"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | float):
        return f"{value:.15g}"
    return json.dumps(str(value), ensure_ascii=False).replace("\x7f", "\\u007F")
