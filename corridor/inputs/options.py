"""Options, conductors and load cases that a study names, as facts."""

from dataclasses import replace

from corridor.conductor import catalogue
from corridor.conductor.conductor import conductor_from
from corridor.conductor.curves import curve_at, read_curves
from corridor.errors import InputError, nearest
from corridor.inputs.measured import read_measured
from corridor.line.facts import Case, Limit, Option, Tightened, Wiring
from corridor.study.districts import ICE_KEYS

__all__ = ["column_units", "read_cases", "read_conductor", "read_options", "read_shield"]


def column_units(section, prefix=""):
    """Return the units that a table of the study gives to columns, by column."""
    return {key.removeprefix(prefix).removesuffix("_unit"): getattr(section, key) for key in type(section).model_fields
            if key.startswith(prefix) and key.endswith("_unit")}


def read_conductor(study, name, where):
    """Return a conductor of the study itself, or of the catalogue."""
    own = {entry.name: (index, entry) for index, entry in enumerate(study.conductors)}
    if name in own:
        index, entry = own[name]
        sets = read_curves(study.resolve(study.curves)) if study.curves else None
        return conductor_from(entry.model_dump(), where=study.place(f"conductors.{index}"), file=study.path,
                              curves=sets)
    return catalogue.find(name, where=where, file=study.path, besides=own)


def _limits(section):
    def words(stringing):
        state = f"{stringing.temperature:g} °C" if stringing.case is None else stringing.case
        if stringing.limit.kind == "existing":
            return f"tension of the existing wire in {state}, {stringing.condition}"
        return f"{stringing.limit.text} {'at' if stringing.case is None else 'in'} {state}, {stringing.condition}"

    return tuple(Limit(words(s), s.limit.kind, s.limit.value, s.temperature, s.case, s.condition)
                 for s in section.stringing)


def read_options(study):
    """Return the options of a study."""
    return tuple(Option(o.name, _wiring(study, i, o), o.existing) for i, o in enumerate(study.options))


def _wiring(study, i, option):
    conductor = read_conductor(study, option.conductor, study.place(f"options.{i}.conductor"))
    everyday = _everyday(option) if option.everyday_temperature is None else option.everyday_temperature
    stringing = everyday if option.stringing_temperature is None else option.stringing_temperature
    pretension = option.pretension
    drawn = 0.0 if pretension is None else pretension.value * (conductor.rts if pretension.kind == "share" else 1.0)
    if drawn > conductor.rts:
        raise InputError(study.path, study.place(f"options.{i}.pretension"), f"{drawn:.0f} N",
                         f"at most the {conductor.rts:.0f} N that {conductor.name} is rated for")
    _check_age(study, i, option, conductor)
    measured = ()
    if option.measured:
        measured = read_measured(study.resolve(option.measured), column_units(option, "measured_"))
    return Wiring(conductor, option.maximum_temperature, option.emergency_temperature, _limits(option), option.bundle,
                  everyday, stringing, option.age, drawn, measured,
                  tuple(Tightened(each.line or "", each.section, each.by) for each in option.tightened),
                  option.bundle_spacing, option.bundle_arrangement,
                  _loads_seen(study, study.place(f"options.{i}"), option))


def _loads_seen(study, where, section):
    """Whether loads have come, or names of cases that have; a name of no case with ice or wind is refused."""
    loads = [case.name for case in study.cases if case.icy or case.wind]
    for name in section.loads_seen if isinstance(section.loads_seen, tuple) else ():
        if name not in loads:
            hint = nearest(name, loads)
            raise InputError(study.path, f"{where}.loads_seen", repr(name),
                             f"names of cases with ice or wind: {', '.join(loads) or 'there is none'}",
                             hint and repr(hint))
    return section.loads_seen


def _everyday(section):
    """Temperature at which a wire creeps [°C]: that of the first limit of a bare wire."""
    return next((s.temperature for s in section.stringing if s.temperature is not None), 15.0)


def _check_age(study, i, option, conductor):
    """Refuse an age that the creep curves of the conductor do not reach."""
    try:
        if conductor.curves is not None:
            curve_at(conductor.curves, option.age)
    except ValueError as error:
        raise InputError(study.path, study.place(f"options.{i}.age"), f"{option.age:g} years",
                         f"{error}, for which {conductor.elongation!r} has creep curves") from None


def read_shield(study):
    """Return the shield wire of a study, None where it names none."""
    wire = study.shield_wire
    if wire is None:
        return None
    # A shield wire carries no load current: in an emergency of the phases it is no hotter.
    return Wiring(read_conductor(study, wire.conductor, "shield_wire.conductor"), wire.maximum_temperature,
                  wire.maximum_temperature, _limits(wire), 1, _everyday(wire), _everyday(wire),
                  loads_seen=_loads_seen(study, "shield_wire", wire))


def read_cases(study):
    """Return the load cases of a study."""
    return tuple(_case(c) for c in study.cases)


def _case(c):
    case = Case(c.name, c.temperature, c.condition, c.ice, c.ice_density, c.wind, tuple(c.checks), c.ice_spans,
                tuple(c.ice_on), c.ice_off_wire, c.ice_elsewhere, c.constant, c.district or "", broken=c.broken,
                ice_weight=c.ice_weight, ice_weight_per_diameter=c.ice_weight_per_diameter)
    if c.shield is None:
        return case
    given = c.shield.model_dump(exclude_none=True)
    given |= {"ice_on": ()} if "ice_spans" in given else {}
    if given.keys() & ICE_KEYS:
        given = dict.fromkeys(ICE_KEYS, 0.0) | given
    # Spans that are left out carry no more than those that are not.
    elsewhere = min(c.ice_elsewhere, given.get("ice", c.ice))
    return replace(case, shield=replace(case, ice_elsewhere=elsewhere, **given))
