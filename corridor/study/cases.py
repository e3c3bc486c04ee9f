"""What keys of a load case say about one another, and about the rest of the study."""

from corridor.errors import InputError
from corridor.study.districts import ICE_KEYS, filled, find_district

__all__ = ["broken_wires_are_possible", "ice_is_told_once", "states_of_shield_wires_are_possible", "stringing_limits",
           "uneven_ice_is_possible"]

#: Less ice for each length of diameter is a number per millimetre without its unit [N/m²].
_LEAST_PER_DIAMETER = 20.0


def ice_is_told_once(study):
    """Ice is given by its thickness, or by its weight with its density."""
    for i, (case, raw) in enumerate(zip(study.cases, study.tables.get("cases", ()), strict=True)):
        dense = "ice_density" in filled(raw)
        if not (case.district and find_district(case.district).fixed.keys() & ICE_KEYS):
            yield from _of_ice(study, f"cases.{i}", case, dense)
        if case.shield is not None:
            yield from _of_ice(study, f"cases.{i}.shield", case.shield, dense or "ice_density" in raw["shield"])


def _of_ice(study, where, state, dense):
    """What the ice of phases or shield wires lacks, or says twice."""
    per = state.ice_weight_per_diameter or 0.0
    faults = (
        ("ice_weight", bool(state.ice and state.by_weight), "ice besides", "one of the two: thickness or weight"),
        ("ice_density", state.by_weight and not dense, "nothing, with ice by its weight",
         "the density of that ice: the wind blows on its diameter"),
        ("ice_weight_per_diameter", 0 < per < _LEAST_PER_DIAMETER, f"{per:g} N/m²", "0, or text such as '0.4 N/m/mm'"),
    )
    yield from (InputError(study.path, f"{where}.{key}", found, accepted)
                for key, wrong, found, accepted in faults if wrong)


def uneven_ice_is_possible(study):
    """Uneven ice is told once, of ice that there is, and for what the exact equilibrium is asked for."""
    for i, case in enumerate(study.cases):
        uneven = case.ice_spans != "all" or case.ice_on or case.ice_off_wire is not None
        faults = (
            ("ice_on", bool(case.ice_on and case.ice_spans != "all"), "ice_spans besides", "one of the two"),
            ("ice", bool(uneven and not case.icy), "0 m of it, uneven", "a thickness, or ice_weight"),
            ("ice_elsewhere", bool(case.ice_elsewhere and not uneven), f"{case.ice_elsewhere:g} m",
             "ice_spans, ice_on or ice_off_wire besides"),
            ("ice_elsewhere", bool(case.ice_elsewhere and (case.by_weight or (case.shield and case.shield.by_weight))),
             f"{case.ice_elsewhere:g} m beside ice by weight", "none there, or ice by its thickness"),
            ("ice_elsewhere", bool(uneven and case.ice and case.ice_elsewhere >= case.ice),
             f"{case.ice_elsewhere:g} m", f"less than the ice, {case.ice:g} m"),
            ("checks", bool(uneven and case.wind and "vertical" in case.checks), "'vertical' with wind on uneven ice",
             "horizontal and tension there; vertical in a case in still air"),
            ("ice_spans", bool(uneven and study.study.method == "ruling_span"), "uneven ice",
             'study.method = "equilibrium"'),
        )
        yield from (InputError(study.path, f"cases.{i}.{key}", found, accepted)
                    for key, wrong, found, accepted in faults if wrong)


def broken_wires_are_possible(study):
    """A wire is broken to both sides of a span in turn, in still air, and where the exact equilibrium is asked for."""
    for i, case in enumerate(study.cases):
        if case.broken is None:
            continue
        spans = [case.ice_spans, *([case.shield.ice_spans or "all"] if case.shield else [])]
        other = {"back": "ahead", "ahead": "back"}[case.broken]
        twin = case.model_copy(update={"broken": other, "name": ""})
        paired = any(each.model_copy(update={"name": ""}) == twin for each in study.cases)
        faults = (
            ("wind", bool(case.wind), f"{case.wind:g} Pa with a broken wire", "no wind: it is hung in still air"),
            ("constant", bool(case.constant), f"{case.constant:g} N/m with a broken wire",
             "no constant, and no district that has one"),
            ("ice_spans", bool(case.ice_on or case.ice_off_wire is not None or set(spans) != {"all"}),
             "uneven ice with a broken wire", "ice on all spans, or none"),
            ("broken", study.study.method == "ruling_span", "a broken wire", 'study.method = "equilibrium"'),
            ("broken", not paired, f"{case.broken!r} alone", f"a second case besides, the same but for its name and "
             f"broken = {other!r}: spans hang lower near one end by the one, near the other by the other"),
        )
        yield from (InputError(study.path, f"cases.{i}.{key}", found, accepted)
                    for key, wrong, found, accepted in faults if wrong)
    broken = {case.name for case in study.cases if case.broken is not None}
    for where, limit in stringing_limits(study):
        if limit.case in broken:
            yield InputError(study.path, f"{where}.case", f"{limit.case!r}, with a broken wire",
                             "a case in which the wire is whole")


def states_of_shield_wires_are_possible(study):
    """A state of shield wires says something, and of wires that there are; uneven ice is where it can be hung."""
    for i, case in enumerate(study.cases):
        state = case.shield
        if state is None:
            continue
        uneven = state.ice_spans not in (None, "all")
        own = [getattr(state, key) for key in ICE_KEYS]
        ice = case.icy if own == [None] * 3 else any(own)
        faults = (
            ("", study.shield_wire is None, "a state of shield wires", "a table [shield_wire] besides"),
            ("", state == type(state)(), "no key", "one of temperature, ice, ice_weight, ice_weight_per_diameter, "
             "ice_density, ice_spans"),
            (".ice_density", state.ice_density is not None and not ice, "a density of no ice", "a thickness besides"),
            (".ice_spans", state.ice_spans is not None and not ice, "spans of no ice", "a thickness besides"),
            (".ice_spans", uneven and bool(case.wind) and "vertical" in case.checks,
             "uneven ice in a case with wind that checks 'vertical'", "horizontal and tension there"),
            (".ice_spans", uneven and study.study.method == "ruling_span", "uneven ice",
             'study.method = "equilibrium"'),
        )
        yield from (InputError(study.path, f"cases.{i}.shield{key}", found, accepted)
                    for key, wrong, found, accepted in faults if wrong)


def stringing_limits(study):
    """Yield place and limit of every stringing limit."""
    for i, option in enumerate(study.options):
        for k, limit in enumerate(option.stringing):
            yield f"options.{i}.stringing.{k}", limit
    for k, limit in enumerate(study.shield_wire.stringing if study.shield_wire else ()):
        yield f"shield_wire.stringing.{k}", limit
