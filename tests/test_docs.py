"""Manual and program cannot drift: what one names, the other has."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from packcalc.cli import main
from packcalc.sources import source
from packcalc.tables import names, table

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text("utf-8")


def test_readme_holds_the_two_commands_that_ci_runs():
    blocks = re.findall(r"^```sh\n(.*?)\n```$", README, re.MULTILINE | re.DOTALL)
    assert len(blocks) == 2 and all("\n" not in block for block in blocks)


@pytest.mark.parametrize("name", sorted(main.commands))
def test_every_command_stands_in_the_readme(name):
    assert re.search(rf"`(packcalc )?{name}\b", README), f"README does not name {name}"


def test_readme_names_no_command_that_is_not_there():
    named = set(re.findall(r"`packcalc ([a-z]+)", README))
    assert named <= set(main.commands), named - set(main.commands)


def test_every_dependency_stands_in_the_readme():
    project = (ROOT / "pyproject.toml").read_text("utf-8")
    wanted = set(re.findall(r'"([a-z0-9]+)>=', project)) - {"hatchling", "pybamm"}
    assert not {name for name in wanted if name not in README}


@pytest.mark.parametrize("name", names())
def test_every_table_cites_a_registered_source(name):
    source(table(name).source)
