"""The files that a study names, and what they must be before any is opened."""

import errno
import os
import re
from pathlib import Path

from corridor.databases import tiles_in
from corridor.errors import InputError, nearest

__all__ = ["ADDRESS", "ALLOW", "FILE_CHECKS", "ground_files", "named_files", "paths_can_be"]

#: Bytes of a table, which is held in memory: that of the hours of a century has a tenth.
LARGEST_TABLE = 200_000_000
#: What GDAL takes for no path of a file: its virtual ones, drivers named before a colon (a drive has one letter),
#: addresses and contents.
ADDRESS = re.compile(r"/vsi|[<{]|\w\w+:|.*://", re.DOTALL)
#: How more than the study's own folder may be read.
ALLOW = "a path within it; --trust, trust=True or a folder in your configuration allow more (docs/security.md)"


def named_files(study):
    """Yield place in the study and name, as it stands there, of every file that is read."""
    for i, name in enumerate(study.include):
        yield f"include.{i}", name
    for key in ("ground", "surface"):
        for i, name in enumerate(getattr(study.terrain, key)):
            yield f"terrain.{key}.{i}", name
            for tile in tiles_in(study.resolve(name)) if key == "ground" and study.may_read(name) else ():
                yield f"terrain.{key}.{i}", tile_name(name, tile)
    if study.terrain.surface_classes is not None:
        yield "terrain.surface_classes.file", study.terrain.surface_classes.file
    if study.terrain.surface_cleared is not None:
        yield "terrain.surface_cleared", study.terrain.surface_cleared
    yield "structures.file", study.structures.file
    if study.structures.route is not None:
        yield "structures.route.file", study.structures.route.file
    yield "framings.file", study.framings.file
    if study.capacity is not None:
        yield "capacity.file", study.capacity.file
    if study.curves is not None:
        yield "curves", study.curves
    for i, option in enumerate(study.options):
        if option.measured is not None:
            yield f"options.{i}.measured", option.measured
    if study.stringing is not None and study.stringing.rules is not None:
        yield "stringing.rules", study.stringing.rules
    if study.series is not None:
        for key, name in (("file", study.series.file), ("weather", study.series.weather)):
            if name is not None:
                yield f"series.{key}", name
        for i, station in enumerate(study.series.stations):
            yield f"series.stations.{i}.file", station.file
    for i, obstacle in enumerate(study.obstacles):
        for k, name in enumerate(obstacle.file):
            yield f"obstacles.{i}.file" + (f".{k}" if len(obstacle.file) > 1 else ""), name
    for i, cloud in enumerate(study.point_clouds):
        for k, name in enumerate(cloud.files):
            yield f"point_clouds.{i}.files.{k}", name
    for i, survey in enumerate(study.surveys):
        for k, name in enumerate(survey.files):
            yield f"surveys.{i}.files.{k}", name
    for section in ("rules", "right_of_way"):
        table = getattr(study, section)
        if table is not None and table.file is not None:
            yield f"{section}.file", table.file


def ground_files(study):
    """Return the names of the rasters of the ground, in their order: those of the study, and in the place of an index
    the tiles that it lists."""
    return [each for name in study.terrain.ground for each in
            [tile_name(name, tile) for tile in tiles_in(study.resolve(name))] or [name]]


def tile_name(index, tile):
    """Name of a tile as the study would have it: paths in an index are relative to the index."""
    return tile if ADDRESS.match(tile) else str(Path(index).parent / tile)


def paths_can_be(study):
    """A path too long, of links in a circle, or through a folder that is locked leads nowhere."""
    for where, name in (*named_files(study), ("study.output", study.study.output)):
        try:
            os.stat(study.resolve(name))
        except OSError as fault:
            if fault.errno not in (errno.ENOENT, errno.ENOTDIR):
                yield InputError(study.path, where, f"{name!r} ({(fault.strerror or 'unusable').lower()})",
                                 "the path of a file, relative to the study file")


def files_are_near(study):
    """A study of somebody else reads nothing of this machine or a network but what came with it."""
    for where, name in (*named_files(study), ("study.output", study.study.output)):
        if not study.may_read(name):
            yield InputError(study.path, where, f"{name!r}, which is outside the study's folder", ALLOW)


def files_are_files(study):
    """A device or a pipe would be read for ever."""
    for where, name in named_files(study):
        path = study.resolve(name)
        if not str(name).startswith("/vsi") and path.exists() and not (path.is_file() or path.is_dir()):
            yield InputError(study.path, where, f"{name!r}, which is a device or a pipe", "a file")
        elif path.suffix.lower() == ".csv" and path.is_file() and path.stat().st_size > LARGEST_TABLE:
            yield InputError(study.path, where, f"{name!r} of {path.stat().st_size / 1e6:.0f} MB",
                             f"a table of at most {LARGEST_TABLE / 1e6:g} MB")


def files_exist(study):
    """Every file that the study names exists; GDAL's virtual paths are for GDAL to judge."""
    for where, name in named_files(study):
        path = study.resolve(name)
        if not str(name).startswith("/vsi") and not path.exists():
            beside = [p.name for p in path.parent.iterdir()] if path.parent.is_dir() else []
            match = nearest(path.name, beside)
            yield InputError(
                study.path,
                where,
                f"{name!r}, but there is no {str(path)!r}",
                "the path of a file, relative to the study file",
                match and repr(str(Path(name).with_name(match))),
            )


def output_is_writable(study):
    """The findings go to a GeoPackage, or a folder of GeoParquet files, in a folder that exists, over no input."""
    name, path = study.study.output, study.resolve(study.study.output)
    inputs = {study.resolve(file).resolve() for _, file in named_files(study)} | {study.path.resolve()}
    accepted = "a .gpkg file, or a .parquet folder, in a folder that exists, which is none of the inputs"
    if path.suffix.lower() not in (".gpkg", ".parquet"):
        yield InputError(
            study.path, "study.output", repr(name), accepted, repr(f"{path.stem}.gpkg")
        )
    elif not path.parent.is_dir():
        yield InputError(
            study.path, "study.output", f"{name!r}, but its folder does not exist", accepted
        )
    elif path.resolve() in inputs:
        yield InputError(study.path, "study.output", f"{name!r}, an input of the study", accepted)


#: Each yields the faults it finds; only where every path can be looked at.
FILE_CHECKS = files_are_near, files_are_files, files_exist, output_is_writable
