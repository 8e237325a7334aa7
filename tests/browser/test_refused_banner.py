"""What a page says of refused requests stays under the finger while more of them are refused."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

REFUSED = Path(__file__).parents[2] / "assets" / "refused.js"
POLL = """async ([status, message]) => {
    const problems = [{ message, fix: "Ask whoever looks after the accounts." }];
    await fetch("/_dash-update-component", {
        method: "POST", body: JSON.stringify({ status, problems }),
    });
}"""
SIGNED_OUT, NOT_ALLOWED = (401, ""), (403, "You may not do this.")


@pytest.fixture
def page(browser):
    """A page whose polls are answered as they ask to be."""

    def answer(route):
        asked = json.loads(route.request.post_data or "{}")
        route.fulfill(
            status=asked.get("status", 200),
            content_type="application/json" if asked else "text/html",
            body=json.dumps({"problems": asked["problems"]}) if asked else "<p>",
        )

    opened = browser.new_page()
    opened.route("http://parts.test/**", answer)
    opened.goto("http://parts.test/?unit=W23")
    opened.add_script_tag(path=REFUSED)
    yield opened
    opened.close()


def poll(page, told):
    page.evaluate(POLL, list(told))


@pytest.mark.parametrize(
    ("told", "what"), [(SIGNED_OUT, "#refused a"), (NOT_ALLOWED, "#refused button")]
)
def test_a_tap_on_the_banner_is_not_lost_when_a_poll_is_refused_again(page, told, what):
    poll(page, told)
    page.evaluate(
        """(what) => document.querySelector(what).addEventListener("click", (event) => {
            event.preventDefault();
            window.wasTapped = true;
        })""",
        what,
    )
    page.focus(what)
    page.hover(what)
    page.mouse.down()
    poll(page, told)
    assert page.evaluate("(what) => document.activeElement.matches(what)", what)
    page.mouse.up()
    assert page.evaluate("window.wasTapped")


def test_the_way_back_leads_to_where_the_page_is_by_now(page):
    poll(page, SIGNED_OUT)
    page.evaluate("history.replaceState(null, '', '/?unit=W24')")
    poll(page, SIGNED_OUT)
    assert page.get_attribute("#refused a", "href").endswith("/sign-in?next=%2F%3Funit%3DW24")


def test_what_is_refused_for_another_reason_is_said_instead(page):
    said = []
    for told in (SIGNED_OUT, NOT_ALLOWED, (403, "As owner you may not do this."), SIGNED_OUT):
        poll(page, told)
        said.append(page.inner_text("#refused").split(".")[0])
    assert said == ["You are signed out", "You may not do this", "As owner you may not do this",
                    "You are signed out"]  # fmt: skip
    poll(page, (200, ""))
    assert page.query_selector("#refused") is None
