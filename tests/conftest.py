"""What every test may ask for."""

from __future__ import annotations

import os

import pytest
from hypothesis import settings

# No deadline, because a busy machine is not a fault of the code.
settings.register_profile("viaduct", deadline=None, max_examples=60)
settings.load_profile("viaduct")


def require(tool: object, reason: str) -> None:
    """Skip a test whose tool or server is missing; on the build machine, fail it instead."""
    if tool:
        return
    if os.environ.get("VIADUCT_CI") == "1":
        pytest.fail(f"{reason} (VIADUCT_CI=1, so nothing is skipped)")
    pytest.skip(reason)


@pytest.fixture(name="require")
def _require():
    return require
