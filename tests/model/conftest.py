"""Every way to march, for tests that must hold on each."""

from __future__ import annotations

import pytest

from model import simulation

WAYS = [
    "numpy",
    pytest.param(
        "compiled",
        marks=pytest.mark.skipif(not simulation.can_compile(), reason="needs Numba"),
    ),
]


@pytest.fixture(params=WAYS)
def way(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> simulation.Way:
    """March this way wherever a test asks for a simulation."""
    chosen: simulation.Way = request.param
    monkeypatch.setattr(simulation, "way_for", lambda cells, kernel=None: chosen)
    return chosen
