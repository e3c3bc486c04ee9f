"""The pages of the documentation: their examples run, their site builds, their links lead somewhere."""

import contextlib
import doctest
import importlib.util
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from corridor.cli import COMMANDS

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"


@pytest.fixture
def beside_the_demo(tmp_path, monkeypatch):
    """A folder with a copy of the demo, to work in."""
    shutil.copytree(ROOT / "demo_corridor", tmp_path / "demo_corridor", ignore=shutil.ignore_patterns("findings*"))
    monkeypatch.chdir(tmp_path)


def test_the_walk_prints_what_it_says(beside_the_demo):
    flags = doctest.NORMALIZE_WHITESPACE
    failed, tried = doctest.testfile(str(DOCS / "example.md"), module_relative=False, optionflags=flags)
    assert tried > 10 and not failed


def test_blocks_of_python_run(beside_the_demo, capsys):
    names = {"tables": {}}
    for page in (ROOT / "README.md", DOCS / "python.md"):
        for block in re.findall(r"^```python\n(.*?)^```", page.read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL):
            wanted = contextlib.nullcontext() if "tables" not in block else pytest.raises(names["corridor"].InputError)
            with wanted:
                exec(compile(block, page.name, "exec"), names)
    assert "1 " in capsys.readouterr().out


def test_questions_name_commands_and_pages_that_are_there():
    text = (DOCS / "index.md").read_text(encoding="utf-8")
    assert set(re.findall(r"`corridor ([\w-]+)", text)) <= set(COMMANDS)
    pages = set(re.findall(r"\]\(([\w.]+\.md)", text))
    assert len(pages) > 20 and all((DOCS / page).exists() for page in pages)


@pytest.mark.skipif(importlib.util.find_spec("mkdocs") is None, reason="the extra `docs` is not installed")
def test_the_site_builds_without_a_warning(tmp_path):
    made = subprocess.run([sys.executable, "-m", "mkdocs", "build", "--strict", "-f", ROOT / ".mkdocs.yml", "-d",
                           tmp_path], cwd=ROOT, capture_output=True, text=True, timeout=300)
    assert made.returncode == 0, made.stderr
    assert (tmp_path / "search" / "search_index.json").exists()
    api = (tmp_path / "api.html").read_text(encoding="utf-8")
    assert "open_study" in api and "Parameters" in api
