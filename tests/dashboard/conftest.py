"""The demo project and its app, without a browser."""

import json
from collections.abc import Sequence

import pytest

from dashboard.app import Settings, create_app
from dashboard.demo import open_demo


@pytest.fixture
def project(tmp_path):
    with open_demo(tmp_path / "demo") as opened:
        yield opened


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Folder of the demo, shared by the tests of a file."""
    target = tmp_path_factory.mktemp("job") / "demo"
    open_demo(target).close()
    return target


@pytest.fixture
def app(project):
    return create_app(project, Settings(demo=True))


@pytest.fixture
def client(app):
    return app.server.test_client()


class Caller:
    """Sends a callback the way the browser does, wiring included."""

    def __init__(self, app, client):
        self.client = client
        self.callbacks = client.get("/_dash-dependencies").get_json()

    def __call__(self, output: str, changed: str | Sequence[str] | None = None, **values):
        """Answer of the callback that fills ``output``; ``values`` by ``"id.property"``.

        ``changed`` names the input or inputs that set it off; all of them without it.
        """
        found = [c for c in self.callbacks if output in c["output"]]
        assert len(found) == 1, f"{output} is filled by {len(found)} callbacks"
        callback = found[0]
        body = {
            "output": callback["output"],
            "outputs": _outputs(callback["output"]),
            "inputs": [_filled(one, values) for one in callback["inputs"]],
            "state": [_filled(one, values) for one in callback["state"]],
            "changedPropIds": _changed(changed)
            or [f"{one['id']}.{one['property']}" for one in callback["inputs"]],
        }
        return self.client.post("/_dash-update-component", json=body)


def _changed(names):
    return [names] if isinstance(names, str) else list(names or [])


def _filled(one, values):
    name = f"{one['id']}.{one['property']}"
    return {**one, "value": values.get(name)}


def _outputs(text):
    parts = text.strip(".").split("...")
    names = [part.rsplit(".", 1) for part in parts]
    outputs = [{"id": name, "property": prop.split("@")[0]} for name, prop in names]
    return outputs if text.startswith("..") else outputs[0]


@pytest.fixture
def call(app, client):
    return Caller(app, client)


def words_of(answer) -> str:
    """All text of a callback's answer, to look for words in."""
    return json.dumps(answer.get_json(), ensure_ascii=False)
