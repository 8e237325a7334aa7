"""The shift entry page and what a phone keeps of it, without a browser."""

from __future__ import annotations

import gzip
import json
import re
import struct

import pytest

from dashboard.app import LINKS
from dashboard.doors import entry_page
from dashboard.doors.entry_page import manifest, page_document, service_worker


def kept_by(worker: str) -> list[str]:
    return json.loads(re.search(r"const FILES = (\[.*\]);", worker)[1])


def version_of(worker: str) -> str:
    return re.search(r'const VERSION = "(\w+)";', worker)[1]


def test_everything_the_phone_keeps_is_served(client):
    kept = kept_by(client.get("/service-worker.js").text)
    assert "/entry" in kept
    assert {path: client.get(path).status_code for path in kept} == dict.fromkeys(kept, 200)


def test_everything_the_page_loads_is_kept_by_the_phone(client):
    kept = set(kept_by(client.get("/service-worker.js").text))
    page = client.get("/entry").text
    loaded = set(re.findall(r'(?:href|src)="(/[^"]*\.\w+)"', page))
    scripts = [path for path in kept if path.endswith(".js")]
    for path in scripts:
        imports = re.findall(r'from "\./([^"]+)"', client.get(path).text)
        loaded |= {f"/assets/entry/{name}" for name in imports}
    assert len(scripts) > 10
    assert loaded <= kept


def test_neither_doors_nor_the_worker_itself_are_kept(client):
    kept = kept_by(client.get("/service-worker.js").text)
    assert not [path for path in kept if path.startswith("/api/") or "service_worker" in path]


def test_the_worker_may_serve_the_whole_address_and_is_asked_for_anew(client):
    answer = client.get("/service-worker.js")
    assert answer.mimetype == "text/javascript"
    assert answer.headers["Cache-Control"] == "no-cache"


def test_a_change_of_anything_kept_makes_a_new_version():
    before = service_worker({"/entry": "<p>one</p>"})
    assert version_of(before) == version_of(service_worker({"/entry": "<p>one</p>"}))
    assert version_of(before) != version_of(service_worker({"/entry": "<p>two</p>"}))


def test_the_page_holds_no_script_and_no_style_of_its_own(client):
    page = client.get("/entry").text
    inline = re.findall(r"<script(?![^>]*\bsrc=)([^>]*)>", page)
    assert [found for found in inline if "application/json" not in found] == []
    assert "<style" not in page
    assert not re.search(r"\sstyle=|\son\w+=", page)


def test_the_project_name_is_text_whatever_it_holds():
    name = '</h1><script>alert(1)</script>"$project'
    page = page_document(name, LINKS)
    assert "<script>alert" not in page
    assert "&lt;/h1&gt;&lt;script&gt;" in page


def test_the_page_says_where_one_is_and_leads_to_all_others():
    page = page_document("Heron Flat", LINKS)
    for link in LINKS:
        assert f'href="{link.PATH}"' in page
    assert page.count('aria-current="page"') == 2  # at the top, and within reach of the thumb


def test_the_map_does_not_load_the_files_of_shift_entry(client):
    assert "/assets/entry/" not in client.get("/").text
    assert client.get("/assets/entry/main.js").status_code == 200


def test_the_demo_says_that_it_is_invented():
    assert "invented" in page_document("Heron Flat", LINKS, demo=True)
    assert "invented" not in page_document("Heron Flat", LINKS)


def test_a_phone_can_install_the_page():
    """Members a browser asks for: W3C Web Application Manifest."""
    told = json.loads(manifest("Heron Flat"))
    assert (told["start_url"], told["scope"], told["display"]) == ("/entry", "/", "standalone")
    assert {"192x192", "512x512"} <= {icon["sizes"] for icon in told["icons"]}


@pytest.mark.parametrize("size", [192, 512])
def test_an_icon_has_the_size_it_says(client, size):
    """Width and height of a PNG stand at bytes 16 to 24: W3C PNG, section 11.2.1 (IHDR)."""
    image = client.get(f"/assets/entry/icon-{size}.png").data
    assert struct.unpack(">II", image[16:24]) == (size, size)


def test_the_list_of_units_travels_small_over_a_thin_signal(client):
    plain = client.get("/api/entry-sheet")
    small = client.get("/api/entry-sheet", headers={"Accept-Encoding": "gzip"})
    assert json.loads(gzip.decompress(small.data)).keys() == plain.get_json().keys()
    assert len(small.data) * 5 < len(plain.data)


def test_the_link_to_the_page_leaves_the_app_that_draws_the_map(call):
    told = call("page.children", url__pathname="/", url__search="").get_json()["response"]
    (link,) = [one for one in told["top-links"]["children"] if one["props"]["href"] == "/entry"]
    assert link["type"] == "A"
    assert link["props"]["children"] == entry_page.NAME
