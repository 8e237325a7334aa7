"""Real Chromium on a real server: the demo project, fresh for each test."""

from __future__ import annotations

import datetime as dt
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from shutil import which

import pytest
from waitress.server import create_server

from dashboard.app import Settings, create_app
from dashboard.demo import open_demo
from model.project import Project

CHROMIUM = which("chromium") or which("chromium-browser") or which("google-chrome")

FLAGS = [
    "--no-sandbox",
    # Drawing without a graphics card.
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
    # Tests use no network, and neither does the browser.
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-quic",
    "--no-first-run",
]

DESKTOP = {"width": 1440, "height": 900}
PHONE = {"width": 390, "height": 844}

RESTS = """() => {
    const { plot, view } = window.pourmap.map;
    const zoom = window.pourmap.mapObject(plot).getZoom();
    return view.zoom === zoom && Math.abs(zoom - plot.layout.map.zoom) < 1e-6;
}"""
"""Whether the map shows the view that was fitted to it."""

WAIT_MS = 60_000
"""How long a page may take, and every step on it, before it counts as broken.

On a loaded machine that shares two processors with others, half a minute has been seen.
"""


def pytest_collection_modifyitems(items):
    for item in items:
        if Path(item.fspath).parent == Path(__file__).parent:
            item.add_marker(pytest.mark.browser)


@dataclass
class Served:
    """A running dashboard and the project behind it."""

    url: str
    project: Project


@contextmanager
def serving(project: Project) -> Iterator[Served]:
    """Serve an open project on a free port of this machine, and close both in the end."""
    app = create_app(project, Settings(demo=True))
    server = create_server(app.server, host="127.0.0.1", port=0, threads=8)
    running = threading.Thread(target=server.run, daemon=True)
    running.start()
    yield Served(f"http://127.0.0.1:{server.effective_port}", project)
    # First those who still answer: they would write to what is closed, or opened by the next test.
    server.task_dispatcher.shutdown(cancel_pending=True, timeout=30)
    server.close()
    running.join(timeout=10)
    project.close()


@pytest.fixture
def served(tmp_path) -> Iterator[Served]:
    """The demo."""
    with serving(open_demo(tmp_path / "demo")) as running:
        yield running


@pytest.fixture
def shift_end(tmp_path) -> Iterator[Served]:
    """The demo on the day after its log ends, half past three: nothing is told of that day yet.

    Its clock stands, so that it is half past three however long a test takes.
    """
    with open_demo(tmp_path / "demo") as demo:
        zone = demo.job.timezone
    at = dt.datetime(2026, 11, 25, 15, 30, tzinfo=zone)
    with serving(Project.open(tmp_path / "demo", clock=lambda: at)) as running:
        yield running


@pytest.fixture(scope="session")
def browser(request):
    """One Chromium for all tests; each test opens contexts of its own."""
    from tests.conftest import require

    require(CHROMIUM, "no Chromium on this machine: install Debian's package chromium")
    playwright = pytest.importorskip("playwright.sync_api")
    playwright.expect.set_options(timeout=WAIT_MS)
    with playwright.sync_playwright() as driver:
        chromium = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield chromium
        chromium.close()


class Watched:
    """Opens pages and remembers what went wrong in them."""

    def __init__(self, browser):
        self.browser = browser
        self.faults: list[str] = []
        self.contexts = []

    def context(self, viewport=DESKTOP, **more):
        context = self.browser.new_context(viewport=viewport, reduced_motion="reduce", **more)
        context.set_default_timeout(WAIT_MS)
        self.contexts.append(context)
        return context

    def open(self, url, viewport=DESKTOP, **more):
        page = self.context(viewport, **more).new_page()
        page.on("pageerror", lambda error: self.faults.append(str(error)))
        page.on(
            "console",
            lambda said: said.type == "error" and self.faults.append(said.text),
        )
        page.goto(url)
        return page

    def open_map(self, url, viewport=DESKTOP, **more):
        """Open the map page and wait until footprints and statuses are on it."""
        page = self.open(url, viewport, **more)
        page.wait_for_selector("#map-view[data-ready=yes]")
        page.wait_for_function("() => window.pourmap.state.statuses !== null")
        return page

    def open_still_map(self, url, viewport=DESKTOP, **more):
        """Open the map page and wait until nothing moves map and strip on the screen any more.

        The cards above them grow when the projected finish comes, and the plotting library puts
        its first view back while it still has something to draw.
        """
        page = self.open_map(url, viewport, **more)
        page.wait_for_selector("#finish-card:has-text('80 % sure by')")
        page.evaluate("() => Plotly.Plots.resize(pourmap.map.plot).then(() => true)")
        page.wait_for_function(RESTS)
        return page


@pytest.fixture
def watch(browser) -> Iterator[Watched]:
    """Pages whose console must stay clean."""
    watched = Watched(browser)
    yield watched
    for context in watched.contexts:
        context.close()
    assert not watched.faults, "the page reported faults: " + "; ".join(watched.faults)
