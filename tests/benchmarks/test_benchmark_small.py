"""corridor and the plain script, written apart from it, agree on a small corridor."""

import pytest

from . import agreement, make_corridor, plain_script


@pytest.fixture(scope="module", params=make_corridor.KINDS)
def study(request, tmp_path_factory):
    """Study file of 12 spans."""
    return make_corridor.make_corridor(tmp_path_factory.mktemp("corridor"), 12, kind=request.param)


def test_corridor_agrees_with_the_plain_script(study):
    """Sag and clearance of every row within 1 cm.

    The script samples every half cell, so it may miss the minimum clearance by the bend of ground and
    wire within a quarter of a cell: some millimetres on this ground.
    """
    import corridor

    findings, plain = study.parent / "findings.gpkg", study.parent / "plain.gpkg"
    corridor.check_study(study, output=findings)
    plain_script.main(study, plain)
    report = agreement.compare(findings, plain)
    assert agreement.agree(report), report


def test_comparison_sees_a_difference(study, tmp_path):
    """A corridor of another seed has other clearances: the comparison must say so."""
    other = make_corridor.make_corridor(tmp_path / "other", 12, seed=2)
    files = [study.parent / "plain.gpkg", tmp_path / "plain.gpkg"]
    for path, output in zip((study, other), files, strict=True):
        plain_script.main(path, output)
    report = agreement.compare(*files)
    assert report["wires"]["rows"] == 12 * 3 * 3 * 4
    assert not agreement.agree(report)
