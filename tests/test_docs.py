"""The documents keep up with the code: commands, keys, columns, kinds, and the way of an event."""

import re
from pathlib import Path

import pytest

from dashboard.access import ROUTES
from dashboard.command import main
from dashboard.doors.openapi import PATHS
from model.events import EVENT_COLUMNS, KINDS
from model.exchange.line_files import ALIGNMENT_COLUMNS, BENT_COLUMNS, UNIT_COLUMNS
from model.exchange.project_keys import PROJECT_TABLES
from model.exchange.quantity_files import BASELINE_COLUMNS, QUANTITY_COLUMNS

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
GUIDE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
TABLES = ALIGNMENT_COLUMNS + BENT_COLUMNS + UNIT_COLUMNS + QUANTITY_COLUMNS + BASELINE_COLUMNS


def shell_lines(text):
    return [
        line for block in re.findall(r"```sh\n(.*?)```", text, re.S) for line in block.split("\n")
    ]


def test_the_readme_begins_with_the_job():
    first = README.split("\n\n")[1]
    assert first.startswith("A cast-in-place concrete box-girder viaduct")


def test_the_build_runs_the_readmes_test_command_word_for_word():
    command = next(line for line in shell_lines(README) if line.endswith("pytest"))
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert command in script.splitlines()


@pytest.mark.parametrize("command", sorted(main.commands))
def test_every_command_is_in_the_readme(command):
    assert f"viaduct {command}" in README


def test_the_readme_names_the_commands_that_look_back_as_asked():
    [named] = re.findall(r"`--recent` and\s+`--recent-weeks` of ([^.]+) look back", README)
    takes = {
        name
        for name, command in main.commands.items()
        if {"recent", "recent_weeks"} <= {one.name for one in command.params}
    }
    assert set(re.findall(r"`(\w+)`", named)) == takes


@pytest.mark.parametrize("table", PROJECT_TABLES)
def test_every_key_of_a_project_is_in_the_guide(table):
    assert [key for key in PROJECT_TABLES[table] if f"`{key}`" not in GUIDE] == []


def test_every_column_and_kind_is_in_the_guide():
    words = set(TABLES) | set(EVENT_COLUMNS) | set(KINDS)
    assert {word for word in words if f"`{word}`" not in GUIDE} == set()


def test_every_address_of_the_api_is_in_the_guide_with_its_right():
    for path, item in PATHS.items():
        for method in item:
            route = f"{method.upper()} {path}"
            right = ROUTES[route.replace("{", "<").replace("}", ">")]
            assert f"| `{route}` | {right} |" in GUIDE


def test_every_function_on_the_way_of_a_new_plan_is_there():
    assert defined_nowhere("## A new plan") == set()


def test_every_file_the_guide_names_is_there():
    named = re.findall(r"`((?:model|dashboard|assets|tests|demo_project)/[\w/.-]+)`", GUIDE)
    assert named
    missing = [
        name for name in named if "NAME" not in name and not (ROOT / name.rstrip("/")).exists()
    ]
    assert missing == []


def test_every_function_on_the_way_of_an_event_is_there():
    assert defined_nowhere("## One event") == set()


def defined_nowhere(title):
    """Names that a section of the guide gives and no source defines."""
    section = GUIDE.split(title)[1].split("\n## ")[0]
    named = re.findall(r"`([A-Za-z_.]+)`", section)
    source = "\n".join(
        path.read_text(encoding="utf-8")
        for folder in ("model", "dashboard", "assets")
        for path in (ROOT / folder).rglob("*")
        if path.suffix in {".py", ".js"}
    )
    last = {name: name.rsplit(".", 1)[-1] for name in named if not name.endswith((".toml", ".csv"))}
    assert last
    return {
        name
        for name, word in last.items()
        if not re.search(rf"(def|class|function) {word}\b|\b{word}(:.+)? = |\b{word}\(", source)
    }


def test_the_picture_in_the_readme_is_there():
    for name in re.findall(r"!\[[^]]*\]\(([^)]+)\)", README):
        assert (ROOT / name).stat().st_size > 10_000


def test_the_top_of_the_tree_is_what_the_guide_draws():
    known = {
        "README.md", "DEVELOPERS.md", "pyproject.toml", "dashboard", "model", "assets", "tests",
        "demo_project",
    }  # fmt: skip
    found = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    leftovers = {"build", "dist"} | {name for name in found if name.endswith(".egg-info")}
    assert found - leftovers == known
