"""What every command says: in 80 columns, plain where there is no terminal, nothing where it is quiet, JSON on request.

A small study of two options is checked once; each command then runs on its findings, in this process.
"""

import io
import json
import os
import re
import sys
import time
from textwrap import wrap

import click
import pytest

import corridor
from corridor.cli import COMMANDS, commands, main
from corridor.commands.shared import Answer
from corridor.outputs.tables import WIDTH
from corridor.terminal import progress_bar
from tests.end_to_end.conftest import SECOND_OPTION, TinyStudy

RATING = '\n[rating]\nrequired_current = "600 A"\nambient = 35\nwind_speed = 0.6\nsolar = 1000\n'

#: Arguments of each command beside the study; those that write get a folder of the test.
ARGUMENTS = {
    "check": ("--output", "{folder}/again.gpkg"), "rating": (), "limits": (), "sag": (), "compare": (),
    "curves": ("--folder", "{folder}"),
    "report": ("--output", "{folder}/page.html"), "draw": ("--output", "{folder}/sheets.pdf"),
    "tables": ("--folder", "{folder}", "--no-workbook"), "export": ("--output", "{folder}/field.geojson"),
    "diff": (), "inspect": ("--output", "{folder}/doubts.csv"), "ground-limit": ("--folder", "{folder}"),
    "survey": ("--folder", "{folder}"),
    "stringing": ("--folder", "{folder}"),
}
#: Searches that take long on any study, and what makes a folder once; their own tests run them.
LONG = {"design", "plan", "new"}


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    study = TinyStudy(tmp_path_factory.mktemp("terminal") / "study")
    study.text += RATING + SECOND_OPTION
    study.rules = study.rules.replace("4.5", "9.5")
    study.add_roads()
    study.add_shots()
    study.text = study.text.replace("[study]", f'[study]\noutput = "{study.output.name}"', 1)
    study.check()
    return study


@pytest.fixture
def run(study, tmp_path, capsys):
    def call(name, *more):
        places = (study.output, study.output) if name == "diff" else (study.path,)
        arguments = [text.format(folder=tmp_path) for text in ARGUMENTS.get(name, ())]
        with pytest.raises(SystemExit) as end:
            main([name, *map(str, places), *arguments, *more])
        said = capsys.readouterr()
        return end.value.code or 0, said.out, said.err

    return call


def test_every_command_is_run_here_or_takes_long():
    assert set(ARGUMENTS) | LONG == set(COMMANDS)


def test_help_lists_commands_in_the_order_of_work():
    text = commands.get_help(click.Context(commands, info_name="corridor", max_content_width=80))
    listed = re.findall(r"^  (\S+)", text.partition("Commands:")[2].partition("Exit status")[0], re.MULTILINE)
    assert listed == list(COMMANDS)


@pytest.mark.parametrize("name", COMMANDS)
def test_help_fits_and_offers_the_same(name):
    """80 columns as a terminal of the usual kind has, and on every command the same words for the same thing."""
    command = commands.commands[name]
    text = command.get_help(click.Context(command, info_name=f"corridor {name}", max_content_width=80))
    assert max(map(len, text.splitlines())) <= 80
    options = {word for parameter in command.params for word in parameter.opts}
    assert {"--quiet", "-q", "--json"} <= options
    assert "Example" in text and not any(line.rstrip() != line for line in text.splitlines())


@pytest.mark.parametrize("name", sorted(set(ARGUMENTS) - {"check", "draw", "report"}))
def test_plain_and_in_80_columns(run, name):
    """Paths may be longer, and stand on lines of their own. The check has tests of its own."""
    _, out, err = run(name)
    assert "\x1b" not in out + err and "\r" not in out + err
    lines = [line for line in (out + err).splitlines() if not line.startswith(("Written:", "Findings:"))]
    assert lines or "Written:" in err
    assert max(map(len, lines), default=0) <= 80


@pytest.mark.parametrize("name", sorted(ARGUMENTS))
def test_quiet_and_json(run, name):
    """Quiet: nothing, and the status as without. JSON: one line (RFC 8259, so no NaN), with the status in it."""
    status, out, err = run(name, "--quiet")
    assert (out, err) == ("", "")
    code, out, err = run(name, "--json")
    assert err == "" and out.count("\n") == 1

    def refuse(word):
        raise AssertionError(word)

    answer = json.loads(out, parse_constant=refuse)
    assert answer["status"] == code == status and isinstance(answer["files"], list)


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_progress_on_a_terminal_alone(monkeypatch):
    """A bar with what is done and the time that is left; elsewhere, and where it is quiet, nothing at all."""
    said = {}
    for kind, quiet in ((Terminal, False), (Terminal, True), (io.StringIO, False)):
        monkeypatch.setattr(sys, "stderr", kind())
        monkeypatch.setenv("TERM", "xterm")
        with progress_bar("Checking spans", quiet) as progress:
            for done in range(8):
                time.sleep(0.03)
                if progress:
                    progress(done, 20)
        said[kind, quiet] = sys.stderr.getvalue()
    assert said[Terminal, True] == said[io.StringIO, False] == ""
    shown = said[Terminal, False]
    assert "Checking spans" in shown and re.search(r"\d+/20", shown) and re.search(r"0:00:0\d", shown)


def test_the_time_counts_before_the_number_of_spans_is_known(monkeypatch):
    """What is read first takes time, too: no count of nothing."""
    monkeypatch.setattr(sys, "stderr", Terminal())
    monkeypatch.setenv("TERM", "xterm")
    with progress_bar("Checking spans"):
        time.sleep(0.3)
    shown = sys.stderr.getvalue()
    assert "reading" in shown and "/?" not in shown and "0:00:00" in shown


def test_a_check_tells_how_far_it_is_from_the_beginning(study):
    """Spans from nought on, never back, within one batch too; all of them at the end."""
    told = []
    with corridor.open_study(study.path) as opened:
        opened.check(study.output.with_name("told.gpkg"), progress=lambda *each: told.append(each))
    done, totals = zip(*told, strict=True)
    assert done[0] == 0 and done[-1] == 3 and set(totals) == {3} and list(done) == sorted(done)


def test_text_is_as_wide_as_the_terminal(monkeypatch):
    """Wrapped at its width, 79 columns where there is none and no more than 160."""
    words = " ".join(["word"] * 100)
    for columns, most in ((60, 79), (120, 119), (400, 160), (None, 79)):
        def size(_, columns=columns):
            if columns is None:
                raise OSError
            return os.terminal_size((columns, 24))

        monkeypatch.setattr(os, "get_terminal_size", size)
        monkeypatch.setattr(sys, "stdout", open(os.devnull, "w", encoding="utf-8"))  # has a file number
        lines = []
        Answer(0, lines=lambda lines=lines: lines.extend(wrap(words, WIDTH.get())) or ()).tell()
        sys.stdout.close()
        assert most - 5 < max(map(len, lines)) <= most
