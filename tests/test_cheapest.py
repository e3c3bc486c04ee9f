"""The cost of plans against the least of all combinations of remedies, each looked at in full; seeded small lines."""

import os
from itertools import product

import numpy as np
import pytest
import shapely

from corridor.planning.remedies.constraints import rules_of_choice
from corridor.planning.remedies.offered import alterations_of
from corridor.planning.remedies.plan import plan_option, site_of
from corridor.planning.remedies.variants import assess_variant, clears, failing_sections
from corridor.session import open_study
from tests.end_to_end.conftest import EAST, NORTH, TinyStudy, line_of, plane
from tests.test_states import two_wires

SEEDS = range(int(os.environ.get("RANDOM_LINES", 4)))
KINDS = (("raise", "post"), ("raise", "strain"), ("post", "grade"), ("raise", "shorten"), ("raise", "post", "grade"))

WOODS = (("trim",), ("trim", "remove"), ("trim", "raise"), ("trim", "side_trim"))


def random_study(folder, seed):
    """Six spans over one or two hillocks, two kinds of remedies or three with costs by chance, in coarse steps."""
    random, study = np.random.default_rng(seed), TinyStudy(folder)
    spans = random.choice(6, int(random.integers(1, 3)), replace=False)
    hills = [(150 + 300 * int(k) + random.uniform(-100, 100), random.uniform(3.5, 7.0)) for k in spans]

    def hilly(e, n):
        z = plane(e, n)
        for place, top in hills:
            z = z + top * np.exp(-((e - EAST - place) ** 2 + (n - NORTH) ** 2) / 60**2)
        return z

    study.structures = line_of(7)
    study.write_ground(hilly, high=(EAST + 2200, NORTH + 400))
    study.change('[right_of_way]\nhalf_width = "30 m"', "")
    names = ", ".join(f'"{kind}"' for kind in KINDS[seed % len(KINDS)])
    costs = "".join(f"{kind}_cost = {random.uniform(*ends):.2f}\n" for kind, ends in (
        ("raise", (0.5, 2)), ("post", (0.5, 2)), ("strain", (1, 3)), ("grade", (0.3, 1.5)), ("shorten", (0.3, 1))))
    study.text += f"\n[plan]\nremedies = [{names}]\nstep = 1.0\nlargest_raise = 3\nlargest_cut = 3\n" \
                  f"shortest_string = 0.4\n{costs}"
    return study


def random_wood(folder, seed):
    """Three spans and two trees that are too near, by chance beneath the wires or beside them in wind; one tree can
    fall. They may be trimmed, in steps of two metres, or be taken away, or structures raised."""
    random, study = np.random.default_rng([seed, 7]), TinyStudy(folder)
    study.change('[right_of_way]\nhalf_width = "30 m"', "")
    study.rules += "tree,tree,radial,3.0,,,,,,\n"
    for name, keys in (("oaks", ""), ("firs", "falls = true\n")):
        place = shapely.Point(EAST + 300 * random.integers(0, 3) + random.uniform(90, 210),
                              NORTH + random.choice([-1, 1]) * random.uniform(3, 13))
        keys += f"growth = 1\nradius = {random.uniform(1, 5):.2f}\nheight_column = 'high'"
        study.add_obstacle(name, "tree", [place], keys, high=[random.uniform(13, 17)])
    names = ", ".join(f'"{kind}"' for kind in WOODS[seed % len(WOODS)])
    study.text += f"\n[plan]\nremedies = [{names}]\nstep = 2.0\nlargest_raise = 2\nleast_tree_height = 5\n" \
                  "least_crown_radius = 0\nuntouched = ['1', '4']\n"
    study.text += "".join(f"{key} = {random.uniform(*ends):.2f}\n" for key, ends in (
        ("raise_cost", (0.2, 1)), ("trim_cost", (0.1, 0.5)), ("trim_metre_cost", (0.05, 0.3)),
        ("remove_cost", (0.5, 3))))
    return study


def random_crossing(folder, seed):
    """Three spans and two wires of another line, by chance across the second, below ours or above; its owner may lower
    or raise it, by whole metres, or structures may be raised or sections slackened."""
    random, study, above = np.random.default_rng([seed, 11]), TinyStudy(folder), seed % 2
    study.change('[right_of_way]\nhalf_width = "30 m"', "")
    study.rules += "line,line,vertical,3.0,,,,,,\n"
    place, up = random.uniform(380, 520), random.uniform(121, 123) if above else random.uniform(115.5, 117)
    wires = [shapely.LineString([(EAST + place + e, NORTH - 60, up + random.uniform(-0.4, 0.4)),
                                 (EAST + place + e, NORTH + 60, up)]) for e in (0, 5)]
    study.add_obstacle("other", "line", wires, 'voltage = "220 kV"')
    names = '"raise_other", "slacken"' if above else '"lower_other", "raise"'
    study.text += f"\n[plan]\nremedies = [{names}]\nstep = 1.0\nlargest_raise = 2\nuntouched = ['1', '4']\n" \
                  "tightening_step = 0.1\nalterable = ['other:1']\n" \
                  "largest_other_raise = 3\nlargest_other_lowering = 3\n"
    study.text += "".join(f"{key} = {random.uniform(*ends):.2f}\n" for key, ends in (
        ("raise_cost", (0.5, 2)), ("tighten_cost", (0.5, 2)), ("other_cost", (0.3, 2)), ("other_metre_cost", (0.1, 1))))
    return study


def every_way(m):
    """All numbers of steps; of those that wait for each other, which are columns of their own, the first so many."""
    choices = []
    for kind, place in dict.fromkeys(zip(m.kind, m.place, strict=True)):
        own = m.at(kind, place)
        choices.append([(own, np.arange(len(own)) < n if len(own) > 1 else n)
                        for n in range(1 + int(m.most[own].sum()))])
    for chosen in product(*choices):
        steps = np.zeros(len(m), int)
        for own, n in chosen:
            steps[own] = n
        yield steps


@pytest.mark.parametrize(("study", "seed"), [(study, seed) for study in (
    random_study, random_wood, random_crossing) for seed in SEEDS])
def test_no_combination_that_clears_is_cheaper(tmp_path, study, seed):
    """All that cost less are tried, each assessed exactly; where there is no plan, all there are."""
    with open_study(study(tmp_path, seed).write()) as opened:
        planned = plan_option(site_of(opened.inputs, "today"))
        m, site, before, rules = planned.remedies, planned.site, planned.before, rules_of_choice(planned.remedies)
        most = planned.cost - 1e-9 if planned.cleared else np.inf
        ways = [steps for steps in every_way(m) if m.cost(steps).sum() < most
                and (rules.A @ (steps * m.step) >= rules.need - 1e-9).all()]
        for steps in sorted(ways, key=lambda each: m.cost(each).sum()):
            assert not clears(assess_variant(site, alterations_of(site, m, steps), before), before), \
                f"{m.cost(steps).sum():.3f} does, too: the plan costs {planned.cost:.3f}"
        if planned.cleared:
            assert planned.bound <= planned.cost + 1e-9 and planned.gap >= 0


def test_sections_that_fail_are_those_of_what_falls_short(tmp_path):
    """Of a variant that does not clear some section fails, and of one that clears none does."""
    with open_study(two_wires(tmp_path / "study").write()) as opened:
        site = site_of(opened.inputs, "alloy")
        before = assess_variant(site)
        v = before.layers["violations"]
        sections = site.plan.spans.section[before.line.spans_at(v)]
        assert set(failing_sections(before, before).tolist()) == set(sections.tolist()) != set()
        planned = plan_option(site)
        assert planned.cleared and not len(failing_sections(planned.after, before))
