"""The house itself: its layers, its style, its pages, and what it loads."""

import ast
import io
import os
import re
import subprocess
import sys
import tokenize
from pathlib import Path

import pytest

import corridor

ROOT = Path(corridor.__file__).parent.parent
#: What a call for help has no need of.
HEAVY = ("geopandas", "scipy", "matplotlib", "pint", "pandas", "shapely", "rasterio")
TEXT = {".py", ".md", ".toml", ".csv", ".qml", ".cfg", ".txt", ".yml", ".yaml", ""}
#: Files that the version control tool and other tools keep for themselves.
ASIDE = {".git", ".venv", "build", "dist", "__pycache__"}


def run(*command, **options):
    """Run a command from the root of the project."""
    return subprocess.run(command, capture_output=True, text=True, cwd=ROOT, timeout=120, **options)


def files():
    """Every text file of the project: the tracked ones where git knows them, else all that lie there."""
    if (ROOT / ".git").exists():
        listed = run("git", "ls-files", "-z", "--cached", "--others", "--exclude-standard")
        assert listed.returncode == 0, listed.stderr
        paths = [ROOT / name for name in listed.stdout.split("\0") if name]
    else:
        paths = [path for path in ROOT.rglob("*") if not ASIDE & set(path.relative_to(ROOT).parts)]
    return [path for path in paths if path.is_file() and path.suffix in TEXT]


def modules():
    """Every module of the package."""
    return sorted((ROOT / "corridor").rglob("*.py"))


# Layers, style


def test_imports_go_down_only():
    """The contracts of pyproject.toml, by import-linter."""
    done = run(str(Path(sys.executable).with_name("lint-imports")), "--no-cache")
    assert done.returncode == 0, done.stdout + done.stderr
    assert re.search(r"Contracts: [1-9]\d* kept, 0 broken", done.stdout), done.stdout


def test_style():
    """The rules of pyproject.toml, by ruff."""
    done = run(sys.executable, "-m", "ruff", "check", "--no-cache", ".")
    assert done.returncode == 0, done.stdout + done.stderr


def test_types():
    """What [tool.mypy] of pyproject.toml lists, by mypy."""
    done = run(sys.executable, "-m", "mypy", "--cache-dir", os.devnull)
    assert done.returncode == 0, done.stdout + done.stderr


def lengths(path):
    """Name and lines of each function of a module, without its docstring and comments."""
    source = path.read_text(encoding="utf-8")
    code = {token.start[0] for token in tokenize.generate_tokens(io.StringIO(source).readline)
            if token.type not in (tokenize.COMMENT, tokenize.NL, tokenize.NEWLINE, tokenize.INDENT, tokenize.DEDENT)}
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.FunctionDef):
            doc = node.body[0] if ast.get_docstring(node) else None
            inside = set(range(doc.lineno, doc.end_lineno + 1)) if doc else set()
            yield f"{path.name}:{node.name}", len(code & set(range(node.lineno, node.end_lineno + 1)) - inside)


def test_functions_and_modules_stay_small():
    """No function above 60 lines of code, half of them within 13, no module above 400 lines."""
    found = dict(pair for path in modules() for pair in lengths(path))
    assert len(found) > 100
    assert {name: length for name, length in found.items() if length > 60} == {}
    assert sorted(found.values())[len(found) // 2] <= 13
    long = {path.name: count for path in modules()
            if (count := len(path.read_text(encoding="utf-8").splitlines())) > 400}
    assert long == {}


def test_no_broad_except_but_the_last_stop():
    """Only the command itself, which turns what it does not know into status 70, may catch everything."""
    for path in modules():
        caught = [node for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
                  if isinstance(node, ast.ExceptHandler)
                  and (node.type is None or ast.unparse(node.type) in ("Exception", "BaseException"))]
        assert len(caught) <= (path.name == "cli.py"), path


# What is loaded


def test_help_is_light():
    """`corridor --help` shows what there is without loading what the work needs."""
    code = ("import sys\nfrom corridor.cli import main\n"
            "try:\n    main(['--help'])\nexcept SystemExit as end:\n    print(end.code or 0, file=sys.stderr)\n"
            f"print(sorted(set({HEAVY!r}) & set(sys.modules)), file=sys.stderr)")
    done = run(sys.executable, "-c", code)
    assert done.returncode == 0, done.stderr
    assert done.stderr.split("\n")[:2] == ["0", "[]"]
    assert "check" in done.stdout and "Exit status" in done.stdout


def test_the_check_of_what_is_loaded_can_fail():
    done = run(sys.executable, "-c", f"import sys, corridor.check\nprint(set({HEAVY!r}) & set(sys.modules))")
    assert "geopandas" in done.stdout or "shapely" in done.stdout, done.stderr


@pytest.mark.parametrize("name", corridor.__all__)
def test_public_names_resolve(name):
    assert getattr(corridor, name) is not None
    assert name in dir(corridor)


def test_a_name_that_is_not_there():
    with pytest.raises(AttributeError, match="chek_study"):
        corridor.chek_study  # noqa: B018


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(ROOT)))
def test_what_a_module_offers_is_there(path):
    """Every name of its `__all__` is defined in, or imported into, the module."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    offered = [node.value for node in tree.body if isinstance(node, ast.Assign)
               and any(getattr(target, "id", None) == "__all__" for target in node.targets)]
    if not offered or path.name == "__init__.py":
        return
    defined = {name for node in tree.body for name in _bound(node)}
    assert set(ast.literal_eval(offered[0])) <= defined


def _bound(node):
    if isinstance(node, ast.FunctionDef | ast.ClassDef):
        return [node.name]
    if isinstance(node, ast.Import | ast.ImportFrom):
        return [alias.asname or alias.name for alias in node.names]
    if isinstance(node, ast.Assign):
        return [name.id for target in node.targets for name in ast.walk(target) if isinstance(name, ast.Name)]
    return [node.target.id] if isinstance(node, ast.AnnAssign) else []


# Pages


def test_the_commands_of_the_readme_are_there():
    """Two fences in "Set up", each one command line; and what they name exists."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    part = re.search(r"^## Set up$(.*?)^## ", text, re.MULTILINE | re.DOTALL)[1]
    fences = re.findall(r"^```\w*\n(.*?)^```$", part, re.MULTILINE | re.DOTALL)
    assert len(fences) == 2 and all(fence.strip().count("\n") == 0 for fence in fences)
    assert "corridor check demo_corridor/study.toml" in fences[0] and "pytest" in fences[1]
    assert (ROOT / "demo_corridor" / "study.toml").is_file()


def test_links_of_the_pages_lead_somewhere():
    """Every relative link of every page names a file that is there."""
    broken = []
    for page in [path for path in files() if path.suffix == ".md"]:
        for target in re.findall(r"\]\(([^)#\s]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8")):
            if "://" not in target and not (page.parent / target).exists():
                broken.append(f"{page.relative_to(ROOT)}: {target}")
    assert broken == []


# Nothing of a machine

#: Absolute paths of a home, a temporary or a mounted folder, in the manner of three systems.
MACHINE = re.compile(r"(?<![\w.])/(?:home|root|Users|tmp|work|mnt|opt|private)/\w|\b[A-Za-z]:\\\\?[A-Za-z]")


@pytest.mark.parametrize(("text", "found"), [
    ("see /home" + "/anna/line.gpkg", True), ("C:" + "\\Users", True), ('open("/work' + '/x")', True),
    ("https://example.org/home/page", False), ("m/km and N/mm", False), ("docs/home/page.md", False)])
def test_the_pattern_of_paths(text, found):
    assert bool(MACHINE.search(text)) is found


def test_no_path_of_a_machine():
    """Help may show findings in the folder for temporary files as a place to write to, and nothing else of the kind."""
    harmless = re.compile("/tmp" + r"/findings\.gpkg")
    found = []
    for path in files():
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
            if MACHINE.search(harmless.sub("", line)):
                found.append(f"{path.relative_to(ROOT)}:{number}: {line.strip()[:80]}")
    assert found == []
