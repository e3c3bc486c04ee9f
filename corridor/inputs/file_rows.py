"""What is written down of every file of a study: digest, CRS, units, and how many features were of concern."""

from dataclasses import asdict

import numpy as np

from corridor.inputs.digest import digest
from corridor.inputs.layers import layer_facts, open_layer
from corridor.study.named_files import ground_files

__all__ = ["describe_files", "file_columns"]

#: Units of columns where the study says none.
_UNITS = {"height": "m", "elevation": "m", "radius": "m", "voltage": "V", "base_elevation": "m", "crossarm_azimuth":
"deg"}


def file_columns(files, read, compared=None, structures_left_out=0):
    """Return the rows of the layer `inputs`, as columns.

    Parameters
    ----------
    files : sequence of dict
        One row per file, of `describe_files`.
    read : sequence of LayerRead
    compared : mapping, optional
        Number of features compared, by the name of their layer; none is told without it.
    structures_left_out : int
        Rows of the structures that do not count.
    """
    columns = {name: np.array([row[name] for row in files], object) for name in files[0]}
    layers = {f"obstacles.{each.name}": each for each in read}
    held = [layers.get(part) for part in columns["part"]]
    columns["features"] = np.array([np.nan if each is None else each.features for each in held], float)
    columns["features_left_out"] = np.array(
        [structures_left_out if part == "structures" else np.nan if each is None else each.left_out.total()
         for part, each in zip(columns["part"], held, strict=True)], float)
    columns["features_near"] = np.array([np.nan if each is None else each.near for each in held], float)
    columns["features_compared"] = np.array(
        [np.nan if each is None or compared is None else compared.get(each.name, 0) for each in held], float)
    return columns


def describe_files(study, terrain, clouds, surveys, surface=(None, None)):
    """Return one row per file that was read, in the order of the study, with paths as the study names them."""
    t, rows = study.terrain, []
    names = ground_files(study)
    rasters = [("ground", names, terrain), ("surface", t.surface, surface[0]),
               ("surface_classes", (t.surface_classes and t.surface_classes.file,), surface[1])]
    for part, listed, read in (each for each in rasters if each[-1] is not None):
        # A raster made of point clouds may come after those of the study.
        for given, facts in zip(listed, read.facts, strict=False):
            rows.append(_row(f"terrain.{part}", given, None, facts.digest, facts.crs, facts.vertical_crs, facts.unit))
    rows += [_row("terrain.ground", given, None, digest(study.resolve(given)), None, None, None)
             for given in t.ground if given not in names]
    layers = [("structures", study.structures)]
    layers += [(f"obstacles.{section.name}", part) for section in study.obstacles for part in section.parts]
    if study.structures.route is not None:
        layers.append(("structures.route", study.structures.route))
    if study.right_of_way is not None and study.right_of_way.file:
        layers.append(("right_of_way", study.right_of_way))
    for part, section in layers:
        facts = asdict(layer_facts(open_layer(study.resolve(section.file), section.layer, part, section)))
        rows.append(_row(part, section.file, facts["layer"], facts["digest"], facts["crs"], facts["vertical_crs"],
                         "; ".join([facts["unit"], *_told_units(section)])))
    plain = [*(("include", name) for name in study.include), ("framings", study.framings.file)]
    plain += [("terrain.surface_cleared", t.surface_cleared)] if t.surface_cleared else []
    plain += [("curves", study.curves)] if study.curves else []
    plain += [(f"options.{option.name}.measured", option.measured) for option in study.options if option.measured]
    plain += ([("capacity", study.capacity.file)] if study.capacity else [])
    plain += ([("rules", study.rules.file)] if study.rules.file else [])
    rows += [_row(part, given, None, digest(study.resolve(given)), None, None, None) for part, given in plain]
    aside = [*clouds.file_rows(), *(row for each in surveys for row in each.files)]
    rows += [_row(part, path, None, *facts) for part, path, *facts in aside]
    return tuple(rows)


def _told_units(section):
    """Units in which the numbers of columns were read."""
    for name, default in _UNITS.items():
        given = getattr(section, f"{name}_unit", None)
        if given is not None or getattr(section, f"{name}_column", None) is not None:
            yield f"{name} in {given or f'{default} (assumed)'}"


def _row(part, path, layer, checksum, crs, vertical_crs, unit):
    return {"part": part, "path": str(path), "source_layer": layer, "digest": checksum, "crs": crs,
            "vertical_crs": vertical_crs, "unit": unit}
