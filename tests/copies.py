"""Copies of a process that has no threads, for work that is killed, starved of memory or disk, or that may never end.

A copy (fork) of a process with threads may wait for ever for a lock that one of them held, and the process of the tests
has threads: of libraries that read columns, of schedulers. So each copy is of a process that has imported what is
needed and does nothing itself (the method `forkserver` of Python's multiprocessing).
"""

import multiprocessing
import os
import pkgutil
import resource
import sys
import tempfile

import corridor

#: How long a copy may work at most [s].
LONGEST = 600
_CONTEXT = multiprocessing.get_context("forkserver")
#: Read to begin with: what is missing is no matter, and one that runs when it is imported is left out.
_CONTEXT.set_forkserver_preload([
    *(found.name for found in pkgutil.walk_packages(corridor.__path__, "corridor.") if "__main__" not in found.name),
    "tests.end_to_end.at_work", "tests.fuzz.at_work", "bokeh", "contourpy", "ezdxf", "laspy", "openpyxl", "pint",
    "pyarrow.parquet"])


def begin(work, *args, says=None):
    """Begin something in a copy, which ends with its status, and return the process.

    What it says to the person goes to the connection `says`, or nowhere. It has the environment, the folder, and the
    limit of the size of files that are set here now.
    """
    here = dict(os.environ), os.getcwd(), tempfile.tempdir, resource.getrlimit(resource.RLIMIT_FSIZE)
    process = _CONTEXT.Process(target=_work, args=(work, args, here, says))
    process.start()
    return process


def pipe():
    """A connection to read from, and one for a copy to write to, which is closed here once the copy has it."""
    return _CONTEXT.Pipe(duplex=False)


def ended(process):
    """How a copy ended: its status, below zero the signal."""
    process.join(LONGEST)
    if process.is_alive():
        process.kill()
        raise AssertionError(f"a copy of the process did not end in {LONGEST} s")
    code = process.exitcode
    process.close()
    return code


def _work(work, args, here, says):
    environment, folder, tempfile.tempdir, limit = here
    os.environ.clear()
    os.environ.update(environment)
    os.chdir(folder)
    resource.setrlimit(resource.RLIMIT_FSIZE, limit)
    nowhere = os.open(os.devnull, os.O_RDWR)
    os.dup2(nowhere, 1)
    os.dup2(nowhere if says is None else says.fileno(), 2)
    if says is not None:
        says.close()  # else who reads would wait for the copy's own end of it
    sys.stderr = open(2, "w", closefd=False)  # noqa: SIM115, ends with the process
    code = 99
    try:
        code = work(*args)
        sys.stderr.flush()
    finally:
        os._exit(code)
