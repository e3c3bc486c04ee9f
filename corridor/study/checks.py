"""What one key of a study says about another: each check yields the faults it finds."""

from corridor.clearance.bundles import ARRANGEMENTS
from corridor.errors import InputError, nearest
from corridor.rating.resistances import tabulated
from corridor.rating.seasons import days_of
from corridor.study.capacity import capacity_is_possible
from corridor.study.cases import (
    broken_wires_are_possible,
    ice_is_told_once,
    states_of_shield_wires_are_possible,
    stringing_limits,
    uneven_ice_is_possible,
)
from corridor.study.districts import districts_are_heeded
from corridor.study.mixes import mixes_are_of_options
from corridor.study.named_files import FILE_CHECKS, paths_can_be
from corridor.study.other_lines import other_wires_are_told
from corridor.study.plan import plan_is_possible
from corridor.study.point_clouds import KINDS
from corridor.study.surveys import surveys_are_possible
from corridor.study.terrain import SURFACE

__all__ = ["CHECKS", "cross_check"]


def cross_check(study):
    """Yield every fault that the schema of single keys cannot see; where a path cannot be looked at, that alone."""
    unusable = list(paths_can_be(study))
    yield from unusable
    for check in () if unusable else CHECKS:
        yield from check(study)


def unique_names(study):
    """Names of options, cases, obstacles and conductors are unique."""
    for section in ("options", "cases", "obstacles", "conductors", "point_clouds", "surveys", "ratings"):
        names = [row.name for row in getattr(study, section)]
        for i, name in enumerate(names):
            if name in names[:i]:
                first = f"{section}.{names.index(name)}.name"
                yield InputError(
                    study.path,
                    f"{section}.{i}.name",
                    f"{name!r}, which is also {first}",
                    "a name that no other of the list has",
                )


def one_existing(study):
    """At most one option is the existing wire."""
    existing = [i for i, option in enumerate(study.options) if option.existing]
    for i in existing[1:]:
        yield InputError(
            study.path,
            f"options.{i}.existing",
            f"true, as in {study.place(f'options.{existing[0]}')}",
            "true for at most one option",
        )


def emergency_above_maximum(study):
    """The emergency temperature of an option is not below its maximum temperature."""
    for i, option in enumerate(study.options):
        emergency, maximum = option.emergency_temperature, option.maximum_temperature
        if emergency is not None and emergency < maximum:
            yield InputError(
                study.path,
                f"options.{i}.emergency_temperature",
                f"{emergency:g} °C",
                f"a temperature of at least the maximum_temperature, {maximum:g} °C",
            )


def limits_have_a_state(study):
    """A stringing limit has either a temperature or a case that exists."""
    cases = [case.name for case in study.cases]
    for where, limit in stringing_limits(study):
        if (limit.temperature is None) == (limit.case is None):
            found = (
                "neither temperature nor case"
                if limit.case is None
                else "both temperature and case"
            )
            yield InputError(study.path, where, found, "exactly one of temperature and case")
        elif limit.case is not None and limit.case not in cases:
            match = nearest(limit.case, cases)
            yield InputError(
                study.path,
                f"{where}.case",
                repr(limit.case),
                ", ".join(map(repr, cases)),
                match and repr(match),
            )


def limit_cases_are_possible(study):
    """A limit in a case at the emergency temperature needs an emergency temperature."""
    emergency = {case.name for case in study.cases if case.temperature == "emergency"}
    lacking = [
        f"options.{i}." for i, o in enumerate(study.options) if o.emergency_temperature is None
    ]
    for where, limit in stringing_limits(study):
        if limit.case in emergency and where.startswith((*lacking, "shield_wire.")):
            yield InputError(
                study.path,
                f"{where}.case",
                f"{limit.case!r}, at an emergency temperature",
                "a case whose temperature this wire has",
            )


def existing_limits_have_a_wire(study):
    """A limit by the existing wire is of another option than that wire, and not of the shield wire."""
    today = [f"options.{i}." for i, option in enumerate(study.options) if option.existing]
    for where, limit in stringing_limits(study):
        if limit.limit.kind == "existing" and (not today or where.startswith((*today, "shield_wire."))):
            found = "'existing'" if today else "'existing', but no option is existing"
            yield InputError(study.path, f"{where}.limit", found, "for an option beside the existing one; here a "
                             "tension, a share of RTS, or a constant")


def one_of(study):
    """Of some keys exactly one, or at most one, or at least one is given."""
    for where, table, keys, least, most in _choices(study):
        given = [key for key in keys if getattr(table, key) is not None]
        if not least <= len(given) <= most:
            word = {(1, 1): "exactly one", (0, 1): "at most one"}.get((least, most), "at least one")
            found = " and ".join(given) or "none of " + ", ".join(keys)
            yield InputError(study.path, where, found, f"{word} of {', '.join(keys)}")


def sun_is_complete(study):
    """The sun is given by its irradiance, or by latitude, day and hour."""
    rating = study.rating
    if rating is None:
        return
    sun = [key for key in ("latitude", "day", "hour") if getattr(rating, key) is not None]
    if (rating.solar is None and len(sun) != 3) or (rating.solar is not None and sun):
        given = (["solar"] if rating.solar is not None else []) + sun
        yield InputError(
            study.path,
            "rating",
            " and ".join(given) or "nothing about the sun",
            "either solar, or all of latitude, day and hour",
        )


def wind_is_told_once(study):
    """The wind has an angle to the wire or a direction, not both."""
    rating = study.rating
    if rating is not None and rating.wind_direction is not None and "wind_angle" in rating.model_fields_set:
        yield InputError(study.path, "rating", "wind_angle and wind_direction", "at most one of them")


def emergency_is_complete(study):
    """An emergency of limited time has a duration and a current before it."""
    rating = study.rating
    if rating is not None and (rating.emergency_duration is None) != (rating.pre_load is None):
        given = "pre_load" if rating.emergency_duration is None else "emergency_duration"
        yield InputError(study.path, "rating", f"{given} alone", "both emergency_duration and pre_load, or none")


def resistances_are_of_options(study):
    """A measured resistance is that of a conductor of an option."""
    names = sorted({option.conductor for option in study.options})
    for i, row in enumerate(study.rating.resistances if study.rating else ()):
        if row.conductor not in names:
            match = nearest(row.conductor, names)
            yield InputError(study.path, f"rating.resistances.{i}.conductor", repr(row.conductor),
                             ", ".join(map(repr, names)), match and repr(match))


def resistances_make_tables(study):
    """Measured resistances of a conductor are two or more, and rise with temperature."""
    points = {}
    for i, row in enumerate(study.rating.resistances if study.rating else ()):
        points.setdefault(row.conductor, (f"rating.resistances.{i}", []))[1].append((row.temperature, row.resistance))
    for where, rows in points.values():
        try:
            tabulated(*zip(*rows, strict=True), where=where)
        except InputError as error:
            yield InputError(study.path, error.where, error.found, error.accepted)


def loads_fit_a_year(study):
    """The steps of a load-duration curve last no longer than a year together."""
    total = sum(load.duration for load in study.rating.loads) if study.rating else 0.0
    if total > 366 * 86_400:
        yield InputError(study.path, "rating.loads", f"{total / 3600:g} h", "durations that sum to at most 8784 h")


def series_has_a_rating(study):
    """An hourly series needs the surface of the wire, and weather for what it lacks."""
    if study.series is not None and study.rating is None:
        yield InputError(study.path, "series", "no [rating]", "[series] together with [rating]")


def seasons_are_whole(study):
    """A season has weather to stand on, both of its days, durations with a pre-load, and days of its own."""
    taken = {}
    for i, season in enumerate(study.ratings):
        where = f"ratings.{i}"
        if study.rating is None:
            yield InputError(study.path, where, "no [rating]", "[[ratings]] together with [rating]")
        for one, other in (("first_day", "last_day"), ("pre_load", "durations"), ("durations", "pre_load")):
            if getattr(season, one) not in (None, ()) and getattr(season, other) in (None, ()):
                yield InputError(study.path, where, f"{one} alone", f"{one} together with {other}")
        if season.last_day is not None and season.first_day is None:
            yield InputError(study.path, where, "last_day alone", "last_day together with first_day")
        if season.wind_angle is not None and season.wind_direction is not None:
            yield InputError(study.path, where, "wind_angle and wind_direction", "at most one of them")
        for day in days_of(season.first_day, season.last_day):
            if day in taken:
                yield InputError(study.path, where, f"day {day}, as in {taken[day]!r}", "seasons without a common day")
                break
        taken |= dict.fromkeys(days_of(season.first_day, season.last_day), season.name)


def series_has_currents(study):
    """A series has a file, or a required current and weather."""
    series = study.series
    if series is None:
        return
    if series.weather is not None and series.stations:
        yield InputError(study.path, "series", "weather and stations", "at most one of them")
    if series.file is None and (study.rating is None or study.rating.required_current is None):
        yield InputError(study.path, "series.file", "nothing", "a file of currents, or required_current in [rating]")
    if series.file is None and series.weather is None and not series.stations:
        yield InputError(study.path, "series", "no file", "at least one of file, weather, stations")


def layer_has_a_file(study):
    """The layer of a right of way is the layer of a file."""
    strip = study.right_of_way
    if strip is not None and strip.layer is not None and strip.file is None:
        yield InputError(
            study.path,
            "right_of_way.layer",
            f"{strip.layer!r} without file",
            "layer together with file",
        )


def highest_above_nominal(study):
    """The highest voltage is not below the nominal voltage."""
    highest, nominal = study.study.highest_voltage, study.study.voltage
    if highest is not None and highest < nominal:
        yield InputError(
            study.path,
            "study.highest_voltage",
            f"{highest:g} V",
            f"at least the nominal voltage, {nominal:g} V",
        )


def checks_are_once(study):
    """A check is named once in a case."""
    for i, case in enumerate(study.cases):
        if len(set(case.checks)) < len(case.checks):
            yield InputError(
                study.path, f"cases.{i}.checks", repr(list(case.checks)), "each check once"
            )


def classes_are_once(study):
    """A class of points stands for one thing, and a group and an obstacle layer do not share a name."""
    for i, cloud in enumerate(study.point_clouds):
        lists = [(f"groups.{k}.classes", group.classes) for k, group in enumerate(cloud.groups)]
        lists += [(key, getattr(cloud, key)) for key in ("ground_classes", "wire_classes", "structure_classes",
                                                         "ignored_classes")]
        seen = {} if cloud.groups else {c: f"the default group {g.name}" for g in KINDS for c in g.classes}
        for where, classes in lists:
            for number in classes:
                if number in seen:
                    yield InputError(study.path, f"point_clouds.{i}.{where}", f"class {number}, as in {seen[number]}",
                                     "each class once")
                seen[number] = where
        names = [group.name for group in cloud.groups]
        for k, name in enumerate(names):
            if name in (*names[:k], "wire", "unknown"):
                yield InputError(study.path, f"point_clouds.{i}.groups.{k}.name", repr(name),
                                 "a name that no other group has, and not wire or unknown")
        if cloud.name in [obstacle.name for obstacle in study.obstacles]:
            yield InputError(study.path, f"point_clouds.{i}.name", repr(cloud.name),
                             "a name that no layer of obstacles has")


#: Categories of what does not stand: wires hang, and may have ours below them.
_NOT_STANDING = ("line", "ground", "right_of_way", "parcel", "galloping")


def layers_are_of_one_file(study):
    """Several files, or several layers of one."""
    for i, obstacle in enumerate(study.obstacles):
        if len(obstacle.file) > 1 and len(obstacle.layer) > 1:
            yield InputError(study.path, f"obstacles.{i}.layer", f"{len(obstacle.layer)} layers of "
                             f"{len(obstacle.file)} files", "one layer of several files, or several layers of one")


def surface_is_told(study):
    """The surface is compared by the rules of one category or of a raster of classes, under a name of its own."""
    t = study.terrain
    told = [key for key in ("surface_category", "surface_classes") if getattr(t, key) is not None]
    if t.surface_cleared is not None and not t.compares_surface:
        yield InputError(study.path, "terrain.surface_cleared", repr(t.surface_cleared), "a surface that is compared")
    if len(told) == 2:
        yield InputError(study.path, "terrain", "surface_category and surface_classes", "one of the two")
    places = {"surface_category": t.surface_category} if t.surface_category else {}
    if t.surface_classes is not None:
        places |= {f"surface_classes.values.{k}": name for k, name in t.surface_classes.values.items()}
    for key, name in places.items():
        if name in _NOT_STANDING or name.startswith("own_"):
            yield InputError(study.path, f"terrain.{key}", repr(name), "a category of things that stand on the ground")
    if told and not t.surface:
        yield InputError(study.path, f"terrain.{told[0]}", "no surface that it is for", "terrain.surface beside it")
    for section in ("obstacles", "point_clouds") if t.surface else ():
        for i, each in enumerate(getattr(study, section)):
            if each.name == SURFACE:
                yield InputError(study.path, f"{section}.{i}.name", repr(SURFACE),
                                 "another name: it is that of terrain.surface in findings")


def _choices(study):
    """Yield place, table, keys, and how many of them at least and at most."""
    yield "rules", study.rules, ("table", "file"), 1, 2
    for i, obstacle in enumerate(study.obstacles):
        where = f"obstacles.{i}"
        yield where, obstacle, ("category", "column"), 1, 1
        yield where, obstacle, ("height", "height_column", "elevation_column"), 0, 1
        yield where, obstacle, ("voltage", "voltage_column"), 0, 1
        yield where, obstacle, ("radius", "radius_column"), 0, 1
    if study.right_of_way is not None:
        yield "right_of_way", study.right_of_way, ("half_width", "file"), 1, 1


def _bundles_are_whole(study):
    """Only a bundle has a spacing and an arrangement, and of as many subconductors as that is for."""
    for i, option in enumerate(study.options):
        for key in ("bundle_spacing", "bundle_arrangement"):
            if option.bundle == 1 and getattr(option, key) is not None:
                yield InputError(study.path, f"options.{i}.{key}", f"{getattr(option, key)!r} of a single wire",
                                 "bundle = 2 or more beside it, or no such key")
        wanted = ARRANGEMENTS.get(option.bundle_arrangement, 0)
        if option.bundle > 1 and wanted not in (0, option.bundle):
            yield InputError(study.path, f"options.{i}.bundle_arrangement",
                             f"{option.bundle_arrangement!r} of {option.bundle} subconductors",
                             " | ".join(name for name, count in ARRANGEMENTS.items() if count in (0, option.bundle)))


#: Every check, in the order in which its faults are told.
CHECKS = (
    unique_names,
    one_existing,
    mixes_are_of_options,
    emergency_above_maximum,
    limits_have_a_state,
    limit_cases_are_possible,
    existing_limits_have_a_wire,
    _bundles_are_whole,
    one_of,
    sun_is_complete,
    wind_is_told_once,
    emergency_is_complete,
    resistances_are_of_options,
    resistances_make_tables,
    loads_fit_a_year,
    series_has_a_rating,
    series_has_currents,
    plan_is_possible,
    seasons_are_whole,
    layer_has_a_file,
    highest_above_nominal,
    checks_are_once,
    districts_are_heeded,
    capacity_is_possible,
    uneven_ice_is_possible,
    ice_is_told_once,
    broken_wires_are_possible,
    states_of_shield_wires_are_possible,
    classes_are_once,
    surface_is_told,
    layers_are_of_one_file,
    other_wires_are_told,
    surveys_are_possible,
    *FILE_CHECKS,
)
