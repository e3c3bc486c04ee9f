"""The tables of a study that hang other options in some sections only."""

from pydantic import Field

from corridor.errors import InputError, nearest
from corridor.study.table import Table, Text

__all__ = ["InSections", "Mix", "mixes_are_of_options"]


class InSections(Table):
    """An option that hangs in some sections of a mix."""

    option: Text = Field(description="Name of the option.")
    line: Text | None = Field(None, description="Line of the sections, where several have such sections.")
    sections: tuple[Text, ...] = Field(min_length=1, description=(
        "Their names, `<from>-<to>`, the structures that end them."))


class Mix(Table):
    """Other options in some sections only: wires change at strain structures. Findings have it beside the options."""

    name: Text = Field(description="Name of its own, among those of the options.")
    option: Text = Field(description="Name of the option that hangs in all other sections.")
    in_sections: tuple[InSections, ...] = Field(min_length=1, description="What hangs in sections.")


def mixes_are_of_options(study):
    """Mixes have names of their own, and are made of options of the study with as many subconductors each."""
    known = {option.name: option for option in study.options}
    for i, mix in enumerate(study.mixes):
        earlier = [*known, *(each.name for each in study.mixes[:i])]
        if mix.name in earlier:
            yield InputError(study.path, f"mixes.{i}.name", f"{mix.name!r}, as of another",
                             "a name that no option and no other mix has")
        named = [(f"mixes.{i}.option", mix.option),
                 *((f"mixes.{i}.in_sections.{k}.option", row.option) for k, row in enumerate(mix.in_sections))]
        for where, name in named:
            if name not in known:
                close = nearest(name, known)
                yield InputError(study.path, where, repr(name), ", ".join(known), close and repr(close))
        bundles = {name: known[name].bundle for _, name in named if name in known}
        if len(set(bundles.values())) > 1:
            yield InputError(study.path, f"mixes.{i}", "options with " + ", ".join(
                f"{count} ({name})" for name, count in bundles.items()) + " subconductors", "as many in each")
