"""A study in parts comes to the findings of the whole one, and its run tells the digests of all of them."""

import hashlib
import json

import numpy as np
import pytest

from corridor.errors import InputError
from corridor.session import open_study


def test_a_study_in_parts(study, other_study):
    whole = study.check()["clearances"]
    cases = other_study.text.index("[[cases]]")
    rules = other_study.text.index("[rules]")
    part = other_study.folder / "cases.toml"
    part.write_text(other_study.text[cases:rules], encoding="utf-8")
    other_study.text = 'include = ["cases.toml"]\n' + other_study.text[:cases] + other_study.text[rules:]
    findings = other_study.check()
    np.testing.assert_array_equal(findings["clearances"]["margin_m"], whole["margin_m"])
    row = findings.row("inputs", part="include")
    assert row["digest"] == hashlib.sha256(part.read_bytes()).hexdigest()
    assert row["digest"] in {each["digest"] for each in json.loads(findings.row("run")["inputs"])}


def test_findings_never_replace_a_part(study):
    part = study.folder / "part.toml"
    part.write_text("", encoding="utf-8")
    study.text = 'include = ["part.toml"]\n' + study.text
    with open_study(study.write()) as opened, pytest.raises(InputError, match="part.toml"):
        opened.guard(overwrite=True).check(part)
