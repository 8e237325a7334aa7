"""The content policy in a real browser: everything of ours runs, nothing of a stranger does."""

import datetime as dt
import re

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import PHONE
from tests.model.people import PASSWORD

SCRIPT = "<img src=x onerror='window.taken=1'><script>window.taken=1</script>"


@pytest.fixture
def open_house(served):
    """The demo with one user, who is not signed in yet."""
    served.project.membership.add("Ines Alder", "administrator", PASSWORD)
    return served


def sign_in(page):
    page.fill("[name=name]", "Ines Alder")
    page.fill("[name=password]", PASSWORD)
    page.click("button:has-text('Sign in')")


def violations(page):
    """Start to gather what the policy stops from now on; returns how to read it."""
    page.evaluate(
        """() => { window.stopped = [];
        document.addEventListener('securitypolicyviolation',
          (event) => window.stopped.push(event.violatedDirective + ' ' + event.blockedURI)); }"""
    )
    return lambda: page.evaluate("() => window.stopped")


def test_the_map_paints_under_the_policy_and_nothing_is_stopped(served, watch):
    # A stopped script, style, worker or picture is an error of the console, and the fixture
    # fails on any.
    page = watch.open_map(served.url)
    drawn = page.evaluate(
        """() => { const painted = document.querySelector('.map-paint');
        const box = painted.getContext('2d').getImageData(0, 0, painted.width, painted.height);
        return box.data.some((value) => value !== 0); }"""
    )
    assert drawn
    page.check("input[value=rebar]")
    page.wait_for_url("**activity=rebar**")


@pytest.mark.parametrize("path", ["/daybook", "/pour", "/entry", "/account", "/nowhere"])
def test_no_page_does_what_its_policy_stops(served, watch, path):
    page = watch.open(served.url + path)
    expect(page.locator("main")).to_have_text(re.compile(r"\S"))
    page.wait_for_load_state("networkidle")


def test_the_policy_stops_a_script_that_gets_into_the_page(served, browser):
    # Not under ``watch``: here the console must complain.
    page = browser.new_page()
    page.goto(served.url + "/daybook")
    page.wait_for_selector("#day-book h1")
    stopped = violations(page)
    page.evaluate(
        """() => { const planted = document.createElement('script');
        planted.textContent = 'window.taken = 1'; document.body.append(planted);
        const far = document.createElement('script');
        far.src = 'https://elsewhere.example/x.js'; document.body.append(far);
        document.body.insertAdjacentHTML('beforeend', "<img src=x: onerror='window.taken=1'>"); }"""
    )
    page.wait_for_function("() => window.stopped.length >= 3")
    assert page.evaluate("() => window.taken") is None
    assert all(re.match("script-src|img-src", one) for one in stopped())
    page.close()


def test_a_script_typed_as_a_reason_is_shown_as_text_wherever_it_is_shown(served, watch):
    now = served.project.now()
    status = served.project.status(activity="falsework").units
    unit = status[status["status"] == "under_way"]["unit"].iloc[0]
    item = {
        "event_id": "odd", "at": f"{now - dt.timedelta(minutes=1):%Y-%m-%dT%H:%M}", "unit": unit,
        "activity": "falsework", "kind": "hold", "by": SCRIPT, "reason": SCRIPT, "note": SCRIPT,
    }  # fmt: skip
    page = watch.open(served.url + "/daybook")
    answer = page.request.post(served.url + "/api/events", data={"events": [item]})
    assert answer.status == 200, answer.text()
    page.reload()
    page.wait_for_selector("#day-book .day-book-table:not(.shift-totals) td")
    assert SCRIPT in page.inner_text("#day-book")
    history = watch.open_map(f"{served.url}/?activity=falsework&unit={unit}&span=1")
    history.wait_for_function("() => window.pourmap.state.span >= 0")
    history.focus("#map-view")
    history.keyboard.press("Enter")
    history.wait_for_selector("#history .history li")
    assert SCRIPT in history.inner_text("#history")
    entry = watch.open(served.url + "/entry", PHONE)
    entry.wait_for_load_state("networkidle")
    for shown in (page, history, entry):
        assert shown.evaluate("() => window.taken") is None


def test_signing_in_leads_to_the_page_that_was_asked_for_and_lasts(open_house, watch):
    page = watch.open(open_house.url + "/daybook?date=2026-11-24")
    assert "/sign-in?next=" in page.url
    sign_in(page)
    page.wait_for_selector("#day-book h1")
    assert page.url.endswith("/daybook?date=2026-11-24")
    (cookie,) = page.context.cookies()
    assert cookie["secure"]
    assert cookie["httpOnly"]
    assert page.evaluate("() => document.cookie") == ""
    page.click("text=Ines Alder")
    page.click("button:has-text('Sign out everywhere')")
    page.wait_for_url("**/sign-in?signed_out=1")
    page.goto(open_house.url + "/")
    assert "/sign-in" in page.url


def test_another_sites_page_cannot_write_with_the_session_of_a_visitor(open_house, browser):
    context = browser.new_context()
    page = context.new_page()
    page.goto(open_house.url + "/sign-in")
    sign_in(page)
    page.wait_for_selector("#map-view")
    before = open_house.project.last_seq()
    # No network: the other site is answered here.
    planted = f'''<form id="planted" method="post" enctype="text/plain"
        action="{open_house.url}/sign-out-everywhere"><input name="a" value="b"></form>'''
    context.route(
        "http://elsewhere.example/",
        lambda route: route.fulfill(body=planted, content_type="text/html"),
    )
    other = context.new_page()
    other.goto("http://elsewhere.example/")
    fetched = other.evaluate(
        """(url) => fetch(url + '/api/events', { method: 'POST', mode: 'no-cors',
        credentials: 'include', body: '{}' }).then((a) => a.type, () => 'failed')""",
        open_house.url,
    )
    assert fetched in ("opaque", "failed"), "whatever came of it, the other site cannot see it"
    other.evaluate("() => document.getElementById('planted').submit()")
    other.wait_for_url("**/sign-out-everywhere")
    assert "did not come from a page of this address" in other.inner_text("h1")
    page.reload()
    page.wait_for_selector("#map-view")
    assert open_house.project.last_seq() == before
    whys = {line.why for line in open_house.project.membership.trail(denied_only=True)}
    assert "foreign origin" in whys
    context.close()


def test_a_page_whose_session_has_ended_says_so_and_leads_back(open_house, browser):
    # Not under ``watch``: a refused request is an error of the console.
    page = browser.new_page()
    page.goto(open_house.url + "/")
    sign_in(page)
    page.wait_for_selector("#map-view[data-ready=yes]")
    people = open_house.project.membership
    people.sign_out_everywhere(people.user("Ines Alder"))
    page.wait_for_selector("#refused")
    page.click("#refused a")
    sign_in(page)
    page.wait_for_selector("#map-view[data-ready=yes]")
    assert page.query_selector("#refused") is None
    page.close()


def test_what_a_role_may_not_do_is_said_on_the_page(open_house, browser):
    open_house.project.membership.set_role("Ines Alder", "owner")
    page = browser.new_page()
    page.goto(open_house.url + "/line")
    sign_in(page)
    page.click("#whatif-run")
    page.wait_for_selector("#refused")
    assert "As owner you may not do this" in page.inner_text("#refused")
    page.click("#refused button")
    assert page.query_selector("#refused") is None
    page.close()
