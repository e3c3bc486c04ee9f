"""corridor: which conductor can hang on the structures that stand there, and what it clears.

>>> import corridor
>>> with corridor.open_study("demo_corridor/study.toml") as study:            # doctest: +SKIP
...     found = study.check()
>>> found.frames["violations"]                                                # doctest: +SKIP
"""

from importlib import import_module

__version__ = "0.1.0"

#: The public names and where they live; each is loaded when it is first asked for.
_NAMES = {
    "CorridorError": "corridor.errors",
    "InputError": "corridor.errors",
    "MachineError": "corridor.errors",
    "OpenedStudy": "corridor.session",
    "Result": "corridor.check",
    "Weather": "corridor.doors",
    "catenary": "corridor.doors",
    "check_study": "corridor.check",
    "find": "corridor.check",
    "find_conductor": "corridor.doors",
    "load_study": "corridor.study",
    "make_study": "corridor.jobs.new.job",
    "open_study": "corridor.session",
    "rated_current": "corridor.doors",
    "wire_temperature": "corridor.doors",
}

__all__ = ["__version__", *_NAMES]


def __getattr__(name):
    if name not in _NAMES:
        raise AttributeError(f"module 'corridor' has no attribute {name!r}")
    return getattr(import_module(_NAMES[name]), name)


def __dir__():
    return sorted(__all__)
