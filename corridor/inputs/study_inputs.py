"""All files that a study names, read into facts in the working frame."""

import json
from collections import Counter
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field

from pyproj.crs import CompoundCRS

from corridor import __version__
from corridor.clearance import rules as rule_tables
from corridor.clearance.bundles import assumed_of
from corridor.clearance.capacity import Capacities
from corridor.clearance.crossings import ObstacleIndex, index_obstacles
from corridor.clearance.not_assessed import Gap
from corridor.constants import GRAVITY
from corridor.errors import InputError, nearest
from corridor.inputs.areas import read_cleared, read_right_of_way
from corridor.inputs.capacity import read_capacities
from corridor.inputs.file_rows import describe_files, file_columns
from corridor.inputs.frame import Frame, choose_frame, horizontal
from corridor.inputs.measured import check_measured
from corridor.inputs.obstacles import open_obstacles, read_obstacles
from corridor.inputs.options import column_units, read_cases, read_conductor, read_options, read_shield
from corridor.inputs.other_lines import hanging_of
from corridor.inputs.point_clouds import Clouds, fill_ground, read_clouds
from corridor.inputs.prescribed import missing_states
from corridor.inputs.reach import boxes_about
from corridor.inputs.references import check_files, rasters_of
from corridor.inputs.said import assumptions_open, rows_left_out
from corridor.inputs.structures import check_framings, place, read_framings, read_structures
from corridor.inputs.surface import SurfaceCells, open_surface, surface_cloud
from corridor.inputs.survey_points import read_surveys
from corridor.inputs.terrain import Terrain, open_terrain, vertical_name
from corridor.line.facts import Framings, OwnWires, RightOfWay, Structures, Wiring
from corridor.rating.ratings import ratings_from
from corridor.study.capacity import without_factors
from corridor.study.districts import find_district
from corridor.study.named_files import ground_files
from corridor.study.stringing import check_stringing

__all__ = ["Inputs", "read_inputs"]

#: No case at this temperature or a lower one shows how high wires hang [°C].
_COLD = 10.0


@dataclass(frozen=True)
class Inputs:
    """What a study comes to once its files are read; `described` what they are, told aside as its digests take time;
    `grids` the part of the study and the horizontal CRS of each layer and raster, `others` how wires of other lines
    hang, by obstacles; `layers` what each layer of obstacles held (LayerRead); `surveys` points on wires, by survey;
    `surface` and its `classes`, `cleared` where nothing of it stands any more
    (geometries by category, None: of all)."""

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
    described: Future
    cautions: tuple
    clouds: Clouds = Clouds(())
    grids: tuple = ()
    others: dict = field(default_factory=dict)
    layers: tuple = ()
    capacities: Capacities | None = None
    surveys: tuple = ()
    structures_left_out: Counter = field(default_factory=Counter)
    surface: SurfaceCells | None = None
    classes: SurfaceCells | None = None
    cleared: dict = field(default_factory=dict)

    def close(self):
        """Close the files of ground and surface."""
        for each in (self.terrain, self.surface, self.classes):
            if each is not None:
                each.close()

    def points(self, sample):
        """Return what is known of points, as the assessment takes it: clouds, and the cells of the surface; `sample`
        knows the ground."""
        if self.surface is None:
            return self.clouds.facts
        return (*self.clouds.facts, surface_cloud(self, sample))

    @property
    def files(self):
        """One dict per file, for the layer `inputs`."""
        return self.described.result()

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
    def pull_ends(self):
        """Suspension structures at which a pull ends."""
        return () if self.study.stringing is None else self.study.stringing.pull_ends

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
        words = [*assumptions_open(self.study), *words]
        words += [f"{option.name}: {text}" for option in self.options
                  for text in (*_beyond_materials(option.wiring), *assumed_of(option.wiring))]
        wires = [(option.name, option.wiring) for option in self.options]
        wires += [("shield wire", self.shield)] if self.shield is not None else []
        words += [f"{name}: {text}" for name, wiring in wires for text in _of_elongation(wiring)]
        words += _of_cold(self.cases, self.index.obstacles.category)
        words += _of_districts(self.cases)
        words += rows_left_out(self.study, self.layers, len(self.structures.structure), self.structures_left_out)
        if self.own_wires is None and len(set(self.framings.wire)) > 1:
            words.append("wires of the same structures are not compared with one another: the table [own_wires] asks "
                         "for it")
        surveyed = [text for each in self.surveys for text in each.cautions]
        return [*words, *self.cautions, *self.clouds.warnings, *surveyed, *self.terrain.warnings,
                *(() if self.surface is None else self.surface.warnings), *self._of_surface()]

    def _of_surface(self):
        """What is to be said of the heights of the surface."""
        if self.surface is not None:
            own, ground = (vertical_name(each.rasters[0]) for each in (self.surface, self.terrain))
            if own != ground:
                yield f"heights of the surface ({own}) are taken for those of the ground ({ground})"

    def unread(self):
        """Return the gaps for what the study names and nothing is compared with, and for states that its code
        prescribes and no case is of."""
        surface = () if self.study.terrain.compares_surface else self.study.terrain.surface
        reason = ("wires are not compared with the surface: terrain.surface_category or surface_classes says by the "
                  "rules for which category")
        states = missing_states(self.study.rules.table, self.cases, self.options)
        return (*(Gap(-1, None, None, None, "surface", path, reason) for path in surface),
                *(Gap(-1, None, None, None, None, None, state) for state in states), *self._unasked(),
                *(Gap(-1, None, None, case, None, None, words)
                  for case, words in without_factors(self.study)))

    def _unasked(self):
        """The gap of a right-of-way that no case looks at."""
        given = self.right_of_way.half_width is not None or self.right_of_way.polygon is not None
        if given and not any("horizontal" in case.checks for case in self.cases):
            yield Gap(-1, None, None, None, "right_of_way", None,
                      'no case asks for horizontal clearance: give one with wind the checks = ["horizontal"]')

    def run_row(self, time, warnings, cautions):
        """Return the row of the layer `run`."""
        facts = self.terrain.facts
        return {name: [value] for name, value in {
            "software_version": __version__, "study": self.study.path.name, "study_digest": self.study.digest,
            "inputs": json.dumps(self.files, sort_keys=True, ensure_ascii=False),
            "frame": f"{self.frame.name}: {self.frame.reason}", "vertical_datum": facts[0].vertical_crs,
            "vertical_unit": facts[0].unit, "time": time, "warnings": "\n".join(warnings),
            "cautions": "\n".join(cautions), "assumptions": "\n".join(self.study.unconfirmed) or None}.items()}

    def file_rows(self, compared=None):
        """Return the rows of the layer `inputs`, as columns; `compared` numbers of features compared, by obstacles."""
        return file_columns(self.files, self.layers, compared, self.structures_left_out.total())


def _of_cold(cases, category):
    """What is to be said where lines are crossed and no case shows how high wires hang."""
    bare = [case.temperature for case in cases if case.ordinary and "vertical" in case.checks]
    if "line" not in category or any(not isinstance(T, str) and T <= _COLD for T in bare):
        return []
    return [f"lines are among the obstacles, and no case of bare wires in still air is at {_COLD:g} °C or colder: "
            "below a line wires are nearest to it in the cold"]


def _of_districts(cases):
    """How the load districts that cases are of are known."""
    found = {case.district: find_district(case.district) for case in cases if case.district}
    return [f"loads of the district {d.name}: {d.authority}, {d.edition}, {d.clause}; {d.confidence}"
            for d in found.values()]


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
    return [f"{word} temperature {asked:g} °C is above the {known:g} °C that its materials are known to bear"
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
                          units=column_units(section), section=section,
                          route=section.route and (section.route, resolve(section.route.file)))
    try:
        frame = choose_frame(study.study.crs, raw.layer.crs, raw.longitude, raw.latitude,
                             wide=not study.point_clouds and not study.terrain.surface)
    except InputError as error:
        raise InputError(study.path, error.where, error.found, error.accepted, error.hint) from None
    structures = place(raw, frame)
    framings = read_framings(resolve(study.framings.file), column_units(study.framings))
    check_framings(structures, framings, file=resolve(section.file), framings_file=resolve(study.framings.file))
    _check_ice(study, structures, framings)
    check_stringing(study.path, study.stringing, structures)
    capacities = read_capacities(study, column_units(study.capacity or study.framings), structures, framings)
    options, cases, shield = read_options(study), read_cases(study), read_shield(study)
    _check_strength(study, options, shield)
    for given, option in zip(study.options, options, strict=True):
        check_measured(option.wiring.measured, structures, resolve(given.measured or ""))
        check_measured(option.wiring.tightened, structures, study.path)
    rules = _rules(study)
    others = _hangings(study)
    obstacles, layers_read = _obstacles(study, frame, structures, others)
    index = index_obstacles(obstacles)
    right_of_way = read_right_of_way(study.right_of_way, resolve, frame)
    clouds, surveys = read_clouds(study, frame, structures), read_surveys(study, frame, structures)
    terrain = open_terrain(rasters_of(study, ground_files(study), study.terrain.vertical_unit), frame)
    _check_cover(study, terrain, structures)
    terrain, words = fill_ground(clouds, terrain, frame)
    surface, given = open_surface(study, frame, structures), study.terrain.surface_cleared
    cleared = {} if given is None else read_cleared(resolve(given), frame, study.terrain.categories)
    layers = [("structures", raw.layer), *((f"obstacles.{part.name}", open_obstacles(part, study.resolve))
                                           for section in study.obstacles for part in section.parts),
              *(("point_clouds", tile) for tile in clouds.tiles)]
    grids = [(part, horizontal(layer.crs)) for part, layer in layers]
    grids += [(f"terrain.{part}", raster.horizontal_crs) for part, each in zip(
        ("ground", "surface", "surface_classes"), (terrain, *surface), strict=True) if each for raster in each.rasters]
    return Inputs(study, structures, framings, index, right_of_way, rules, options, cases, shield, terrain, frame,
                  _aside(describe_files, study, terrain, clouds, surveys, surface),
                  (*_cautions(layers, frame, raw), *_far_off(frame, structures), *raw.words, *words), clouds,
                  tuple(grids), others, layers_read, capacities, surveys, raw.left_out, *surface, cleared)


def _aside(work, *args):
    """What a function comes to, worked on from now on while others go on; hashing and reading let go of the
    interpreter."""
    pool = ThreadPoolExecutor(1)
    result = pool.submit(work, *args)
    pool.shutdown(wait=False)
    return result


def _cautions(layers, frame, raw):
    """What is to be said of changes of datum between the layers, the tiles and the frame, once each."""
    known = dict.fromkeys(layer.crs for _, layer in layers)
    words = (frame.caution(crs, raw.longitude[0], raw.latitude[0]) for crs in known)
    return tuple(dict.fromkeys(text for text in words if text))


def _far_off(frame, structures):
    """What is to be said of lines at which the grid is far from ground lengths."""
    return frame.words_on_scale(structures.line, structures.easting, structures.northing)


def _check_strength(study, options, shield):
    """Refuse a stringing limit that would break the conductor."""
    places = [(study.place(f"options.{i}"), option.wiring) for i, option in enumerate(options)]
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
    for part in (part for section in study.obstacles for part in section.parts):
        layer = open_obstacles(part, study.resolve)
        if not layer.features:
            raise InputError(layer.path, f"layer {layer.name}", "no features", "one or more",
                             f"take it out of obstacles.{part.name}")
    return read_obstacles(study.obstacles, study.resolve, frame, boxes=boxes_about(structures),
                          cases=len(study.cases), hangings=others)


def _hangings(study):
    """How the wires of other lines hang, by name of the obstacles whose points are their attachments."""
    ambient = None if study.rating is None else study.rating.ambient
    return {o.name: hanging_of(o.wires, read_conductor(study, o.wires.conductor, f"obstacles.{o.name}.wires.conductor"),
                               read_cases(study), ambient)
            for o in study.obstacles if o.wires is not None}


def _rules(study):
    choice = study.rules
    own = rule_tables.load_rules(study.resolve(choice.file), column_units(choice)) if choice.file else None
    if own is not None:
        rule_tables.require_cases(own, [case.name for case in study.cases], study.resolve(choice.file))
    try:
        table = rule_tables.load_table(choice.table) if choice.table else None
    except InputError as error:
        raise InputError(study.path, "rules.table", error.found, error.accepted, error.hint) from None
    return rule_tables.combine(table, own)


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
                raise InputError(study.path, study.place(f"cases.{i}.{key}"), repr(name), f"a {thing} of the line",
                                 nearest(name, known))
