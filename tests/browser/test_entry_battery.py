"""What is filled in outlives the browser: its processes are killed as a dead battery would."""

from __future__ import annotations

import json
import os
import signal
import subprocess
from contextlib import contextmanager

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import CHROMIUM, FLAGS, PHONE, WAIT_MS
from tests.browser.entry_steps import WHO, ready, send, tick

UNDER_WAY = ("W_from_east", "W23", "bottom_slab_stems")
FORMER_PLACE = "viaduct-entry-drafts"

pytestmark = pytest.mark.skipif(os.name != "posix", reason="kills as POSIX does")


class Phone:
    """A browser with a folder of its own, that can be killed at once with all its processes."""

    def __init__(self, chromium, folder):
        self.process = subprocess.Popen(
            [CHROMIUM, *FLAGS, "--headless", "--remote-debugging-port=0",
             f"--user-data-dir={folder}", "about:blank"],
            stderr=subprocess.PIPE, text=True, start_new_session=True,
        )  # fmt: skip
        said = next(line for line in self.process.stderr if line.startswith("DevTools listening"))
        self.context = chromium.connect_over_cdp(said.split()[-1]).contexts[0]
        self.context.set_default_timeout(WAIT_MS)

    def open_entry(self, served):
        page = self.context.new_page()
        page.set_viewport_size(PHONE)
        page.goto(f"{served.url}/entry")
        ready(page)
        return page

    def kill(self):
        if self.process.poll() is None:
            os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()
        self.process.stderr.close()


@contextmanager
def switched_on(browser, folder):
    phone = Phone(browser.browser_type, folder)
    try:
        yield phone
    finally:
        phone.kill()


def drafts_kept(page):
    page.wait_for_selector("html[data-drafts=kept]", state="attached")


def test_what_was_just_typed_is_there_after_the_battery_died(served, browser, tmp_path):
    unit = UNDER_WAY[1]
    with switched_on(browser, tmp_path / "phone") as phone:
        page = phone.open_entry(served)
        page.get_by_label("Your name").fill(WHO)
        note = tick(page, *UNDER_WAY, "Note").get_by_role("textbox", name="Note")
        note.press_sequentially("stirrups of line 4 are short")
        drafts_kept(page)
        phone.kill()
    with switched_on(browser, tmp_path / "phone") as phone:
        page = phone.open_entry(served)
        expect(page.get_by_label("Your name")).to_have_value(WHO)
        note = tick(page, *UNDER_WAY).get_by_role("textbox", name="Note")
        expect(note).to_have_value("stirrups of line 4 are short")
        send(page)
        expect(page.get_by_role("status").first).to_contain_text("in the log")
    told = [h.event.note for h in served.project.history(unit) if h.event.by == WHO]
    assert told == ["stirrups of line 4 are short"]


def test_a_draft_of_an_earlier_version_of_the_page_is_taken_over_once(served, watch):
    page = watch.open(f"{served.url}/entry", PHONE)
    ready(page)
    former = {"by": "A. Mullen", "rows": {}}
    page.evaluate("([place, text]) => localStorage.setItem(place, text)",
                  [FORMER_PLACE, json.dumps(former)])  # fmt: skip
    page.reload()
    ready(page)
    expect(page.get_by_label("Your name")).to_have_value("A. Mullen")
    assert page.evaluate("place => localStorage.getItem(place)", FORMER_PLACE) is None
    page.reload()
    ready(page)
    expect(page.get_by_label("Your name")).to_have_value("A. Mullen")
