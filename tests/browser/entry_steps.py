"""What a superintendent does on the shift entry page, one function a step."""

from __future__ import annotations

import re
import time

from playwright.sync_api import expect

from tests.browser.conftest import PHONE, WAIT_MS

WHO = "Ines Quarrow"


def open_entry(watch, url, *, by=WHO, context=None):
    """Open the page on a phone and wait until it could work without signal."""
    page = (context or phone(watch)).new_page()
    page.on("pageerror", lambda error: watch.faults.append(str(error)))
    page.goto(f"{url}/entry")
    ready(page)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    if by:
        page.get_by_label("Your name").fill(by)
    return page


def phone(watch):
    return watch.context(PHONE, has_touch=True)


def ready(page):
    page.wait_for_selector("html[data-ready=yes]")


def until(page, holds):
    """Let the page go on, and what it asks for come in, until something holds here."""
    deadline = time.monotonic() + WAIT_MS / 1000
    while not holds():
        assert time.monotonic() < deadline, "it did not come about"
        page.evaluate("new Promise(requestAnimationFrame)")


def take_in_list(page):
    """Leave the field of the name, and wait until the list that comes for it is on the page.

    Drawn anew with a name, the panel around the field is closed.
    """
    page.get_by_label("Your name").blur()
    page.wait_for_selector("#shift-panel:not([open])")


def let_it_try_only_when_told(page):
    """Leave out the page's own later tries, which may come before a test has looked."""
    page.evaluate(
        """() => {
            const { setTimeout } = window;
            window.setTimeout = (act, wait, ...more) =>
                wait < 2_000 ? setTimeout(act, wait, ...more) : 0;
        }"""
    )


def let_a_list_come(page):
    """Have the page ask for the list, and wait until it has taken in the answer."""
    page.evaluate(
        """() => new Promise((done) => {
            const { put } = IDBObjectStore.prototype;
            IDBObjectStore.prototype.put = function (value, ...key) {
                if (value.sheet) {
                    IDBObjectStore.prototype.put = put;
                    this.transaction.addEventListener("complete", () => setTimeout(done, 0));
                }
                return put.call(this, value, ...key);
            };
            document.dispatchEvent(new Event("visibilitychange"));
        })"""
    )


def let_another_tab_change_what_is_kept(page):
    """Say what another tab says then, and wait until the page has read what is kept."""
    page.evaluate(
        """() => new Promise((done) => {
            const { getAll } = IDBObjectStore.prototype;
            IDBObjectStore.prototype.getAll = function () {
                IDBObjectStore.prototype.getAll = getAll;
                this.transaction.addEventListener("complete", () => setTimeout(done, 0));
                return getAll.call(this);
            };
            new BroadcastChannel("viaduct-outbox").postMessage("changed");
        })"""
    )


def choose_heading(page, heading):
    page.get_by_role("group", name="Heading").get_by_role("button", name=heading).click()


def row(page, unit, activity, span=""):
    return page.locator(
        f"fieldset[data-unit='{unit}'][data-activity='{activity}'][data-span='{span}']"
    )


def tick(page, heading, unit, activity, *kinds, span=""):
    """Choose a heading, and tick what was done on one of its rows."""
    choose_heading(page, heading)
    for kind in kinds:
        row(page, unit, activity, span).get_by_role("button", name=kind, exact=True).click()
    return row(page, unit, activity, span)


def send(page):
    page.get_by_role("button", name=re.compile("^Review")).click()
    page.get_by_role("button", name="Send", exact=True).click()


def expect_state(page, words):
    expect(page.get_by_role("status")).to_contain_text(words)


def entries(page, state):
    return page.locator(f".outbox-item[data-state='{state}']")


def small_targets(page):
    """Return what is too small for a glove; a box is ticked by its label.

    At least 44 px each way: WCAG 2.2, success criterion 2.5.5.
    """
    return page.evaluate(
        """() => [...document.querySelectorAll("a, button, input, select, textarea, summary")]
            .filter((one) => one.offsetParent && !one.closest("label.check-line"))
            .map((one) => [one.id || one.textContent, one.getBoundingClientRect()])
            .filter(([, box]) => box.width > 1 && Math.min(box.width, box.height) < 44)
            .map(([name]) => name)"""
    )


def recorded(served, unit, activity, by=None):
    """Return the events of the log on some work, oldest first."""
    found = [h.event for h in served.project.history(unit) if h.event.activity == activity]
    return [event for event in reversed(found) if by is None or event.by == by]
