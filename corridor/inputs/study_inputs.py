"""All files that a study names, read into facts in the working frame."""

import json
from dataclasses import asdict, dataclass

import numpy as np
from pyproj.crs import CompoundCRS

from corridor import __version__
from corridor.clearance import rules as rule_tables
from corridor.clearance.crossings import ObstacleIndex, index_obstacles
from corridor.conductor import catalogue
from corridor.conductor.conductor import conductor_from
from corridor.errors import InputError, nearest
from corridor.inputs.digest import digest
from corridor.inputs.frame import Frame, choose_frame
from corridor.inputs.layers import layer_facts, open_layer
from corridor.inputs.obstacles import open_obstacles, read_obstacles, read_right_of_way
from corridor.inputs.structures import check_framings, place, read_framings, read_structures
from corridor.inputs.terrain import Terrain, open_terrain
from corridor.line.facts import Case, Framings, Limit, Option, RightOfWay, Structures, Wiring
from corridor.planning.ratings import Ratings, strongest_sun
from corridor.thermal.rating import Weather

__all__ = ["Inputs", "read_inputs"]


@dataclass(frozen=True)
class Inputs:
    """What a study comes to once its files are read; `files` is one dict per file, for the layer `inputs`."""

    study: object
    structures: Structures
    framings: Framings
    index: ObstacleIndex
    right_of_way: RightOfWay
    rules: object
    options: tuple
    cases: tuple
    shield: Wiring | None
    terrain: Terrain
    frame: Frame
    files: tuple

    @property
    def crs(self):
        """CRS of the findings: the frame with the heights of the ground raster, where they are known."""
        vertical = self.terrain.vertical_crs
        if vertical is None:
            return self.frame.crs
        return CompoundCRS(f"{self.frame.crs.name} + {vertical.name}", [self.frame.crs, vertical])

    @property
    def voltage(self):
        """Highest voltage of the system, line to line [V]."""
        return self.study.study.highest_voltage_or_default

    def ratings(self, elevation):
        """Return the ratings of all options, with the air of an elevation [m] unless the study gives one."""
        rating, frequency = self.study.rating, self.study.study.frequency
        if rating is None:
            return Ratings(self.options, None, None, frequency, None)
        elevation = rating.elevation if rating.elevation is not None else float(elevation)
        solar = rating.solar
        if solar is None:
            solar = strongest_sun(rating.latitude, rating.day, rating.hour, rating.atmosphere, elevation)
        weather = Weather(ambient=rating.ambient, wind_speed=rating.wind_speed, wind_angle=rating.wind_angle,
                          emissivity=rating.emissivity, absorptivity=rating.absorptivity, solar=solar,
                          elevation=elevation)
        return Ratings(self.options, rating.method, weather, frequency, rating.required_current)

    def warnings(self):
        """Return what the person should look at, as far as reading shows it."""
        study = self.study.study
        words = [] if study.highest_voltage else [
            f"highest voltage taken as {self.voltage / 1e3:g} kV: {study.highest_voltage_source}"]
        words += [f"{option.name}: {text}" for option in self.options for text in _beyond_materials(option.wiring)]
        return [*words, *self.terrain.warnings]

    def run_row(self, time, warnings, cautions):
        """Return the row of the layer `run`."""
        facts = self.terrain.facts
        return {name: [value] for name, value in {
            "software_version": __version__, "study": self.study.path.name, "study_digest": self.study.digest,
            "inputs": json.dumps(self.files, sort_keys=True, ensure_ascii=False),
            "frame": f"{self.frame.name}: {self.frame.reason}", "vertical_datum": facts[0].vertical_crs,
            "vertical_unit": facts[0].unit, "time": time, "warnings": "\n".join(warnings),
            "cautions": "\n".join(cautions)}.items()}

    def file_rows(self):
        """Return the rows of the layer `inputs`, as columns."""
        return {name: np.array([row[name] for row in self.files], object) for name in self.files[0]}


def _beyond_materials(wiring):
    """Temperatures of an option that its materials are not known to bear."""
    conductor = wiring.conductor
    pairs = (("maximum", wiring.maximum_temperature, conductor.maximum_temperature),
             ("emergency", wiring.emergency_temperature, conductor.emergency_temperature))
    return [f"{word} temperature {asked:g} degC is above the {known:g} degC that its materials are known to bear"
            for word, asked, known in pairs if asked is not None and asked > known]


def read_inputs(study):
    """Read every file that a study names.

    Parameters
    ----------
    study : Study

    Returns
    -------
    Inputs
        Its terrain is open: close it, or use it in a `with` statement.

    Raises
    ------
    InputError
        Something in a file cannot be used.
    """
    resolve, section = study.resolve, study.structures
    raw = read_structures(resolve(section.file), layer=section.layer, columns=section.columns)
    try:
        frame = choose_frame(study.study.crs, raw.layer.crs, raw.longitude, raw.latitude)
    except InputError as error:
        raise InputError(study.path, error.where, error.found, error.accepted, error.hint) from None
    structures = place(raw, frame)
    framings = read_framings(resolve(study.framings.file))
    check_framings(structures, framings, file=resolve(section.file), framings_file=resolve(study.framings.file))
    options, cases, shield = _options(study), _cases(study), _shield(study)
    rules = _rules(study)
    index = index_obstacles(_obstacles(study, frame, structures))
    right_of_way = read_right_of_way(study.right_of_way, resolve, frame)
    terrain = open_terrain([resolve(path) for path in study.terrain.ground], frame, study.terrain.vertical_unit)
    _check_cover(study, terrain, structures)
    return Inputs(study, structures, framings, index, right_of_way, rules, options, cases, shield, terrain, frame,
                  _files(study, terrain))


def _check_cover(study, terrain, structures):
    if not terrain.touches(structures.easting, structures.northing).any():
        terrain.close()
        raise InputError(study.path, "terrain.ground", "rasters that do not touch the line",
                         "rasters of the ground below it", "another CRS of the rasters or of the structures")


def _obstacles(study, frame, structures):
    for section in study.obstacles:
        layer = open_obstacles(section, study.resolve)
        if not layer.features:
            raise InputError(layer.path, f"layer {layer.name}", "no features", "one or more",
                             f"take obstacles.{section.name} out of the study")
    e, n = structures.easting, structures.northing
    return read_obstacles(study.obstacles, study.resolve, frame, bounds=(e.min(), n.min(), e.max(), n.max()))


def _rules(study):
    choice = study.rules
    own = rule_tables.load_rules(study.resolve(choice.file)) if choice.file else None
    if own is not None:
        rule_tables.require_cases(own, [case.name for case in study.cases], study.resolve(choice.file))
    try:
        table = rule_tables.load_table(choice.table) if choice.table else None
    except InputError as error:
        raise InputError(study.path, "rules.table", error.found, error.accepted, error.hint) from None
    return rule_tables.combine(table, own)


def _conductor(study, name, where):
    """A conductor of the study itself, or of the catalogue."""
    own = {entry.name: (index, entry) for index, entry in enumerate(study.conductors)}
    if name in own:
        index, entry = own[name]
        return conductor_from(entry.model_dump(), where=f"conductors.{index}", file=study.path)
    known = (*own, *catalogue.names(), *catalogue.aliases())
    if name not in known:
        raise InputError(study.path, where, repr(name), "a designation of the catalogue (docs/conductors.md), or a "
                         "name from [[conductors]]", nearest(name, known))
    return catalogue.find(name)


def _limits(section):
    def words(stringing):
        state = stringing.case if stringing.case is not None else f"{stringing.temperature:g} degC"
        return f"{stringing.limit.text} in {state}, {stringing.condition}" if stringing.case is not None else \
            f"{stringing.limit.text} at {state}, {stringing.condition}"

    return tuple(Limit(words(s), s.limit.kind, s.limit.value, s.temperature, s.case, s.condition)
                 for s in section.stringing)


def _options(study):
    return tuple(Option(o.name, Wiring(_conductor(study, o.conductor, f"options.{i}.conductor"), o.maximum_temperature,
                                       o.emergency_temperature, _limits(o), o.bundle), o.existing)
                 for i, o in enumerate(study.options))


def _shield(study):
    wire = study.shield_wire
    if wire is None:
        return None
    # A shield wire carries no load current: in an emergency of the phases it is no hotter.
    return Wiring(_conductor(study, wire.conductor, "shield_wire.conductor"), wire.maximum_temperature,
                  wire.maximum_temperature, _limits(wire))


def _cases(study):
    return tuple(Case(c.name, c.temperature, c.condition, c.ice, c.ice_density, c.wind, tuple(c.checks))
                 for c in study.cases)


def _files(study, terrain):
    """One row per file that was read, in the order of the study, with paths as the study names them."""
    rows = []
    for given, facts in zip(study.terrain.ground, terrain.facts, strict=True):
        rows.append(_row("terrain.ground", given, None, facts.digest, facts.crs, facts.vertical_crs, facts.unit))
    layers = [("structures", study.structures)]
    layers += [(f"obstacles.{section.name}", section) for section in study.obstacles]
    if study.right_of_way is not None and study.right_of_way.file:
        layers.append(("right_of_way", study.right_of_way))
    for part, section in layers:
        facts = asdict(layer_facts(open_layer(study.resolve(section.file), section.layer, part)))
        rows.append(_row(part, section.file, facts["layer"], facts["digest"], facts["crs"], facts["vertical_crs"],
                         facts["unit"]))
    plain = [("framings", study.framings.file)] + ([("rules", study.rules.file)] if study.rules.file else [])
    rows += [_row(part, given, None, digest(study.resolve(given)), None, None, None) for part, given in plain]
    return tuple(rows)


def _row(part, path, layer, checksum, crs, vertical_crs, unit):
    return {"part": part, "path": str(path), "source_layer": layer, "digest": checksum, "crs": crs,
            "vertical_crs": vertical_crs, "unit": unit}


