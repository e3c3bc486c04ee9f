"""The library that draws the plots, as a text that stands in the page."""

import re
from importlib.util import find_spec

from corridor.errors import CorridorError

__all__ = ["library", "need_library"]

#: Addresses, but for those that only name a vocabulary of the W3C and that nothing is fetched from.
_ADDRESS = re.compile(r"https?://(?!www\.w3\.org/(?:1998|1999|2000)/)")


def need_library():
    """Raise CorridorError where the library that draws the plots is missing."""
    if find_spec("bokeh") is None:
        raise CorridorError("a page needs bokeh: pip install 'corridor[html]'")


def library():
    """Return the script that draws the plots.

    Its addresses, of licences, of services for maps and formulas that no page of ours asks for, lose their scheme:
    nothing is left that a browser could fetch.
    """
    from bokeh.resources import Resources

    bundle, *_ = Resources(mode="inline", components=["bokeh"], minified=True).js_raw
    return _ADDRESS.sub("", bundle).replace("</script", r"<\/script")
