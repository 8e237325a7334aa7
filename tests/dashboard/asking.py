"""What a person types after ``viaduct``, and what a script reads of the answer."""

import json

from click.testing import CliRunner

from dashboard.command import main


def run(*words):
    return CliRunner().invoke(main, [str(word) for word in words])


def json_of(*words):
    """Return what ``--json`` prints; nothing but that goes to standard output."""
    result = run(*words, "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)
