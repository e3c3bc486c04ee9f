"""All files that a study names, read into facts in the working frame."""

import json
from dataclasses import dataclass, field

from pyproj.crs import CompoundCRS

from corridor import __version__
from corridor.clearance import rules as rule_tables
from corridor.clearance.crossings import ObstacleIndex, index_obstacles
from corridor.clearance.reasons import Gap
from corridor.conductor import catalogue
from corridor.conductor.conductor import conductor_from
from corridor.conductor.curves import curve_at, read_curves
from corridor.constants import GRAVITY
from corridor.errors import InputError, nearest
from corridor.inputs.file_rows import describe_files, file_columns
from corridor.inputs.frame import Frame, choose_frame, horizontal
from corridor.inputs.measured import check_measured, read_measured
from corridor.inputs.obstacles import open_obstacles, read_obstacles, read_right_of_way
from corridor.inputs.other_lines import hanging_of
from corridor.inputs.point_clouds import Clouds, fill_ground, read_clouds
from corridor.inputs.references import check_files
from corridor.inputs.structures import check_framings, place, read_framings, read_structures
from corridor.inputs.terrain import Terrain, open_terrain
from corridor.line.facts import Case, Framings, Limit, Option, OwnWires, RightOfWay, Structures, Tightened, Wiring
from corridor.rating.ratings import ratings_from
from corridor.study.stringing import check_block_ends

__all__ = ["Inputs", "read_inputs"]

#: No case at this temperature or a lower one shows how high wires hang [degC].
_COLD = 10.0


@dataclass(frozen=True)
class Inputs:
    """What a study comes to once its files are read; `files` is one dict per file, for the layer `inputs`;
    `grids` the part of the study and the horizontal CRS of each layer and raster, `others` how wires of other lines
    hang, by obstacles; `layers` what each layer of obstacles held (LayerRead)."""

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
    cautions: tuple
    clouds: Clouds = Clouds(())
    grids: tuple = ()
    others: dict = field(default_factory=dict)
    layers: tuple = ()

    @property
    def crs(self):
        """CRS of the findings: the frame with the heights of the ground raster, where they are known."""
        vertical = self.terrain.vertical_crs
        if vertical is None:
            return self.frame.crs
        return CompoundCRS(f"{self.frame.crs.name} + {vertical.name}", [self.frame.crs, vertical])

    @property
    def own_wires(self):
        """What is asked of wires of the same structures, or None."""
        asked = self.study.own_wires
        return None if asked is None else OwnWires(asked.galloping)

    @property
    def block_ends(self):
        """Suspension structures at which a block of stringing ends."""
        return () if self.study.stringing is None else self.study.stringing.block_ends

    @property
    def voltage(self):
        """Highest voltage of the system, line to line [V]."""
        return self.study.study.highest_voltage_or_default

    @property
    def needs_highest(self):
        """Whether ratings take the air at the highest base: then the ground must be asked all along first."""
        rating = self.study.rating
        return rating is not None and rating.elevation is None

    def ratings(self, elevation, azimuth):
        """Return the ratings of all options, with the air of an elevation [m] unless the study gives one.

        `azimuth` are the bearings of the spans [deg], for the wind and the sun that a bearing gets.
        """
        return ratings_from(self.study.rating, self.options, self.study.study.frequency, elevation, azimuth)

    def warnings(self):
        """Return what the person should look at, as far as reading shows it."""
        study = self.study.study
        words = [] if study.highest_voltage else [
            f"highest voltage taken as {self.voltage / 1e3:g} kV: {study.highest_voltage_source}"]
        words += [f"{option.name}: {text}" for option in self.options for text in _beyond_materials(option.wiring)]
        wires = [(option.name, option.wiring) for option in self.options]
        wires += [("shield wire", self.shield)] if self.shield is not None else []
        words += [f"{name}: {text}" for name, wiring in wires for text in _of_elongation(wiring)]
        words += _of_cold(self.cases, self.index.obstacles.category)
        return [*words, *self.cautions, *self.clouds.warnings, *self.terrain.warnings]

    def unread(self):
        """Return the gaps for what the study names and nothing is compared with yet."""
        reason = ("wires are not compared with surface models yet: what stands or grows is assessed only where it is "
                  "an obstacle")
        return tuple(Gap(-1, None, None, None, "surface", path, reason) for path in self.study.terrain.surface)

    def run_row(self, time, warnings, cautions):
        """Return the row of the layer `run`."""
        facts = self.terrain.facts
        return {name: [value] for name, value in {
            "software_version": __version__, "study": self.study.path.name, "study_digest": self.study.digest,
            "inputs": json.dumps(self.files, sort_keys=True, ensure_ascii=False),
            "frame": f"{self.frame.name}: {self.frame.reason}", "vertical_datum": facts[0].vertical_crs,
            "vertical_unit": facts[0].unit, "time": time, "warnings": "\n".join(warnings),
            "cautions": "\n".join(cautions)}.items()}

    def file_rows(self, compared=None):
        """Return the rows of the layer `inputs`, as columns; `compared` numbers of features compared, by obstacles."""
        return file_columns(self.files, self.layers, compared)


def _of_cold(cases, category):
    """What is to be said where lines are crossed and no case shows how high wires hang."""
    bare = [case.temperature for case in cases if not case.wind and not case.ice and "vertical" in case.checks]
    if "line" not in category or any(not isinstance(T, str) and T <= _COLD for T in bare):
        return []
    return [f"lines are among the obstacles, and no case of bare wires in still air is at {_COLD:g} degC or colder: "
            "below a line wires are nearest to it in the cold"]


def _of_elongation(wiring):
    """What the permanent set of an option rests on, where that is an estimate or a step is without effect."""
    conductor, words = wiring.conductor, []
    if conductor.curves_band:
        words.append(f"no stress-strain curves of {conductor.name} are known: how loads and creep stretch it is "
                     "estimated from its parts, with a band in margin_low_m and margin_high_m")
    if conductor.curves is None and not conductor.set_given and conductor.elongation == "linear":
        words.append(f"no stress-strain curves of {conductor.name} are known: its permanent set is that of "
                     f"{wiring.age:g} years of creep as Harvey and Larson predict it for steel cores, and "
                     "none by loads of ice or wind: hot or cold, sags after these may be greater")
    if conductor.curves is None and conductor.set_given and conductor.permanent_set:
        words.append(f"the permanent set of {conductor.name} is the one given, {conductor.permanent_set:g}, "
                     "and none by loads of ice or wind: hot or cold, sags after these may be greater")
    if wiring.pretension and conductor.curves is None:
        words.append(f"pretension has no effect on the {conductor.elongation} law of {conductor.name}")
    return words


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
    check_files(study)
    resolve, section = study.resolve, study.structures
    raw = read_structures(resolve(section.file), layer=section.layer, columns=section.columns,
                          units=_units(section))
    try:
        frame = choose_frame(study.study.crs, raw.layer.crs, raw.longitude, raw.latitude)
    except InputError as error:
        raise InputError(study.path, error.where, error.found, error.accepted, error.hint) from None
    structures = place(raw, frame)
    framings = read_framings(resolve(study.framings.file), _units(study.framings))
    check_framings(structures, framings, file=resolve(section.file), framings_file=resolve(study.framings.file))
    _check_ice(study, structures, framings)
    check_block_ends(study.path, study.stringing, structures)
    options, cases, shield = _options(study), _cases(study), _shield(study)
    _check_strength(study, options, shield)
    for given, option in zip(study.options, options, strict=True):
        check_measured(option.wiring.measured, structures, resolve(given.measured or ""))
        check_measured(option.wiring.tightened, structures, study.path)
    rules = _rules(study)
    others = _hangings(study)
    obstacles, layers_read = _obstacles(study, frame, structures, others)
    index = index_obstacles(obstacles)
    right_of_way = read_right_of_way(study.right_of_way, resolve, frame)
    clouds = read_clouds(study, frame, structures)
    rasters = [resolve(path) for path in study.terrain.ground]
    terrain = open_terrain(rasters, frame, study.terrain.vertical_unit)
    _check_cover(study, terrain, structures)
    terrain, words = fill_ground(study, clouds, terrain, frame, rasters)
    layers = [("structures", raw.layer), *((f"obstacles.{section.name}", open_obstacles(section, study.resolve))
                                           for section in study.obstacles),
              *(("point_clouds", tile) for tile in clouds.tiles)]
    grids = [(part, horizontal(layer.crs)) for part, layer in layers]
    grids += [("terrain.ground", raster.horizontal_crs) for raster in terrain.rasters]
    return Inputs(study, structures, framings, index, right_of_way, rules, options, cases, shield, terrain, frame,
                  describe_files(study, terrain, clouds), (*_cautions(layers, frame, raw), *words), clouds,
                  tuple(grids), others, layers_read)


def _cautions(layers, frame, raw):
    """What is to be said of changes of datum between the layers, the tiles and the frame, once each."""
    known = dict.fromkeys(layer.crs for _, layer in layers)
    words = (frame.caution(crs, raw.longitude[0], raw.latitude[0]) for crs in known)
    return tuple(dict.fromkeys(text for text in words if text))


def _units(section, prefix=""):
    """Units that a table of the study gives to columns, by column."""
    return {key.removeprefix(prefix).removesuffix("_unit"): getattr(section, key) for key in type(section).model_fields
            if key.startswith(prefix) and key.endswith("_unit")}


def _check_strength(study, options, shield):
    """Refuse a stringing limit that would break the conductor."""
    places = [(f"options.{i}", option.wiring) for i, option in enumerate(options)]
    places += [("shield_wire", shield)] if shield is not None else []
    for where, wiring in places:
        conductor = wiring.conductor
        for j, limit in enumerate(wiring.stringing):
            factor = {"tension": 1.0, "constant": conductor.mass * GRAVITY}.get(limit.kind)
            if factor and limit.value * factor > conductor.rts:
                raise InputError(study.path, f"{where}.stringing.{j}.limit", f"{limit.text!r}, a tension of "
                                 f"{limit.value * factor / 1e3:.1f} kN", f"at most the {conductor.rts / 1e3:.1f} kN "
                                 f"that {conductor.name} is rated for")


def _check_cover(study, terrain, structures):
    if not terrain.touches(structures.easting, structures.northing).any():
        terrain.close()
        raise InputError(study.path, "terrain.ground", "rasters that do not touch the line",
                         "rasters of the ground below it", "another CRS of the rasters or of the structures")


def _obstacles(study, frame, structures, others):
    for section in study.obstacles:
        layer = open_obstacles(section, study.resolve)
        if not layer.features:
            raise InputError(layer.path, f"layer {layer.name}", "no features", "one or more",
                             f"take obstacles.{section.name} out of the study")
    e, n = structures.easting, structures.northing
    return read_obstacles(study.obstacles, study.resolve, frame, bounds=(e.min(), n.min(), e.max(), n.max()),
                          cases=len(study.cases), hangings=others)


def _hangings(study):
    """How the wires of other lines hang, by name of the obstacles whose points are their attachments."""
    ambient = None if study.rating is None else study.rating.ambient
    return {o.name: hanging_of(o.wires, _conductor(study, o.wires.conductor, f"obstacles.{i}.wires.conductor"),
                               _cases(study), ambient)
            for i, o in enumerate(study.obstacles) if o.wires is not None}


def _rules(study):
    choice = study.rules
    own = rule_tables.load_rules(study.resolve(choice.file), _units(choice)) if choice.file else None
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
        sets = read_curves(study.resolve(study.curves)) if study.curves else None
        return conductor_from(entry.model_dump(), where=f"conductors.{index}", file=study.path, curves=sets)
    return catalogue.find(name, where=where, file=study.path, besides=own)


def _limits(section):
    def words(stringing):
        if stringing.limit.kind == "existing":
            state = stringing.case if stringing.case is not None else f"{stringing.temperature:g} degC"
            return f"tension of the existing wire in {state}, {stringing.condition}"
        state = stringing.case if stringing.case is not None else f"{stringing.temperature:g} degC"
        return f"{stringing.limit.text} in {state}, {stringing.condition}" if stringing.case is not None else \
            f"{stringing.limit.text} at {state}, {stringing.condition}"

    return tuple(Limit(words(s), s.limit.kind, s.limit.value, s.temperature, s.case, s.condition)
                 for s in section.stringing)


def _options(study):
    return tuple(Option(o.name, _wiring(study, i, o), o.existing) for i, o in enumerate(study.options))


def _wiring(study, i, option):
    conductor = _conductor(study, option.conductor, f"options.{i}.conductor")
    everyday = _everyday(option) if option.everyday_temperature is None else option.everyday_temperature
    stringing = everyday if option.stringing_temperature is None else option.stringing_temperature
    pretension = option.pretension
    drawn = 0.0 if pretension is None else pretension.value * (conductor.rts if pretension.kind == "share" else 1.0)
    if drawn > conductor.rts:
        raise InputError(study.path, f"options.{i}.pretension", f"{drawn:.0f} N",
                         f"at most the {conductor.rts:.0f} N that {conductor.name} is rated for")
    _check_age(study, i, option, conductor)
    measured = ()
    if option.measured:
        measured = read_measured(study.resolve(option.measured), _units(option, "measured_"))
    return Wiring(conductor, option.maximum_temperature, option.emergency_temperature, _limits(option), option.bundle,
                  everyday, stringing, option.age, drawn, measured,
                  tuple(Tightened(each.line or "", each.section, each.by) for each in option.tightened),
                  _loads_seen(study, f"options.{i}", option))


def _loads_seen(study, where, section):
    """Whether loads have come, or names of cases that have; a name of no case with ice or wind is refused."""
    loads = [case.name for case in study.cases if case.ice or case.wind]
    for name in section.loads_seen if isinstance(section.loads_seen, tuple) else ():
        if name not in loads:
            hint = nearest(name, loads)
            raise InputError(study.path, f"{where}.loads_seen", repr(name),
                             f"names of cases with ice or wind: {', '.join(loads) or 'there is none'}",
                             hint and repr(hint))
    return section.loads_seen


def _everyday(section):
    """Temperature at which a wire creeps [degC]: that of the first limit of a bare wire."""
    return next((s.temperature for s in section.stringing if s.temperature is not None), 15.0)


def _check_age(study, i, option, conductor):
    """Refuse an age that the creep curves of the conductor do not reach."""
    try:
        if conductor.curves is not None:
            curve_at(conductor.curves, option.age)
    except ValueError as error:
        raise InputError(study.path, f"options.{i}.age", f"{option.age:g} years",
                         f"{error}, for which {conductor.elongation!r} has creep curves") from None


def _shield(study):
    wire = study.shield_wire
    if wire is None:
        return None
    # A shield wire carries no load current: in an emergency of the phases it is no hotter.
    return Wiring(_conductor(study, wire.conductor, "shield_wire.conductor"), wire.maximum_temperature,
                  wire.maximum_temperature, _limits(wire), 1, _everyday(wire), _everyday(wire),
                  loads_seen=_loads_seen(study, "shield_wire", wire))


def _cases(study):
    return tuple(Case(c.name, c.temperature, c.condition, c.ice, c.ice_density, c.wind, tuple(c.checks), c.ice_spans,
                      tuple(c.ice_on), c.ice_off_wire, c.ice_elsewhere) for c in study.cases)


def _check_ice(study, structures, framings):
    """Refuse ice on spans, and ice dropped by wires, that there are not: it would lie nowhere, or everywhere."""
    beside = structures.line[1:] == structures.line[:-1]
    names = structures.structure
    spans = {f"{a}-{b}" for a, b in zip(names[:-1][beside], names[1:][beside], strict=True)}
    wires = set(framings.wire.tolist())
    for i, case in enumerate(study.cases):
        wanted = [("ice_on", name, spans, "span") for name in case.ice_on]
        wanted += [("ice_off_wire", case.ice_off_wire, wires, "wire")] if case.ice_off_wire is not None else []
        for key, name, known, thing in wanted:
            if name not in known:
                raise InputError(study.path, f"cases.{i}.{key}", repr(name), f"a {thing} of the line",
                                 nearest(name, known))
