"""corridor: which conductor can hang on the structures that stand there, and what it clears.

>>> import corridor
>>> result = corridor.check_study("demo_corridor/study.toml")                 # doctest: +SKIP
>>> result.violations, result.gaps, result.status                             # doctest: +SKIP
"""

from importlib import import_module

__version__ = "0.1.0"

#: The public names and where they live; each is loaded when it is first asked for.
_NAMES = {
    "CorridorError": "corridor.errors",
    "InputError": "corridor.errors",
    "Result": "corridor.check",
    "check_study": "corridor.check",
    "find": "corridor.check",
    "load_study": "corridor.study",
}

__all__ = ["__version__", *_NAMES]


def __getattr__(name):
    if name not in _NAMES:
        raise AttributeError(f"module 'corridor' has no attribute {name!r}")
    return getattr(import_module(_NAMES[name]), name)


def __dir__():
    return sorted(__all__)
