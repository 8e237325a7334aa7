"""Every key and column that is read is told to people."""

from __future__ import annotations

import re

import pytest

import model.section
from model.exchange.project_keys import PROJECT_TABLES
from model.exchange.section_file import SECTION_KEYS


def test_the_documentation_of_the_section_names_every_key_and_no_other():
    told = set(re.findall(r"^``(\w+)``", model.section.__doc__, flags=re.MULTILINE))
    told |= {"structures", "deck_steel_kg_per_m2", "deck_steel_lb_per_yd3"}  # second on a line
    assert told == set(SECTION_KEYS)
    for key in SECTION_KEYS:
        assert f"``{key}``" in model.section.__doc__


@pytest.mark.parametrize("table", PROJECT_TABLES)
def test_every_key_of_the_project_says_what_it_means(table):
    for key, rule in PROJECT_TABLES[table].items():
        assert rule.means, key
