"""A scheduler replaces the plan in a browser, by keyboard, and sees first what moves."""

from __future__ import annotations

import pytest

from dashboard.access import COOKIE
from tests.browser.conftest import DESKTOP, PHONE
from tests.browser.test_accessibility import SIZES, faults
from tests.model.people import PASSWORD

ADDRESS = "203.0.113.7"


def sign_in(served, page_context, role):
    people = served.project.membership
    people.add(role.title(), role, PASSWORD, ["*"] if role == "superintendent" else [])
    key, _ = people.sign_in(role.title(), PASSWORD, ADDRESS)
    page_context.add_cookies([{"name": COOKIE, "value": key, "url": served.url}])


def open_as(served, watch, role, path, size=DESKTOP):
    # Nothing of the app before there are users: what it asks for meanwhile would be denied.
    page = watch.open("about:blank", size)
    sign_in(served, page.context, role)
    page.goto(served.url + path)
    page.wait_for_selector("main > *")
    return page


def a_later_baseline(served):
    text = served.project.plan.baseline().text
    return text.replace("2027-04-29", "2027-05-06")


def choose(page, text):
    page.locator("#plan-file input[type=file]").set_input_files(
        {"name": "later.csv", "mimeType": "text/csv", "buffer": text.encode()}
    )


def test_a_scheduler_looks_a_baseline_over_and_saves_it_by_keyboard(served, watch):
    page = open_as(served, watch, "scheduler", "/plan")
    later = a_later_baseline(served)
    page.wait_for_load_state("networkidle")
    with page.expect_file_chooser():
        page.get_by_label("Choose another baseline.csv").press("Enter")
    choose(page, later)
    page.get_by_text("5 later", exact=True).wait_for()
    assert served.project.plan.baseline().text != later
    page.get_by_role("button", name="Save this baseline").press("Enter")
    page.get_by_text("The baseline is saved and in use").wait_for()
    assert served.project.plan.baseline().text == later
    page.get_by_text("6 May 2027").wait_for()
    page.locator("#plan-save").wait_for(state="hidden")
    assert served.project.membership.trail()[0].user == "Scheduler"


def test_a_six_day_week_is_saved_by_keyboard_and_in_use_at_once(served, watch):
    page = open_as(served, watch, "scheduler", "/plan")
    page.wait_for_load_state("networkidle")
    page.get_by_label("Saturday").press("Space")
    page.get_by_role("button", name="Save this calendar").press("Enter")
    page.get_by_text("The calendar is saved and in use").wait_for()
    page.get_by_text("6 days", exact=True).wait_for()
    assert served.project.job.calendar.workdays[-1] == "Sat"


@pytest.mark.parametrize("role", ["owner", "superintendent"])
def test_who_may_not_plan_finds_no_link_and_is_told_on_the_page(served, watch, role):
    page = open_as(served, watch, role, "/plan")
    page.get_by_text("The plan is changed by schedulers and administrators").wait_for()
    assert page.get_by_role("link", name="Plan", exact=True).count() == 0


@pytest.mark.parametrize("size", SIZES)
def test_the_plan_page_has_no_serious_fault_in_any_state(served, watch, size):
    page = open_as(served, watch, "scheduler", "/plan", size)
    page.wait_for_load_state("networkidle")
    assert faults(page) == [], "as it is"
    choose(page, a_later_baseline(served))
    page.locator("#plan-save").wait_for()
    assert faults(page) == [], "looked over"
    plan = served.project.plan
    served.project.put_baseline(
        plan.baseline().text.replace("2027-04-29", "2027-04-30"), plan.baseline().hash
    )
    page.get_by_role("button", name="Save this baseline").click()
    page.get_by_text("Somebody saved another baseline").wait_for()
    page.get_by_text("4 later", exact=True).wait_for()
    assert faults(page) == [], "somebody was quicker"
    choose(page, "unit\n")
    page.get_by_text("later.csv cannot be the baseline").wait_for()
    assert faults(page) == [], "refused"
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0


@pytest.mark.parametrize("size", SIZES)
def test_ones_account_has_no_serious_fault(served, watch, size):
    page = open_as(served, watch, "scheduler", "/account", size)
    page.get_by_label("What it is for").fill("A planning script")
    page.get_by_label("plan").check()
    assert faults(page) == [], "as it is"
    page.get_by_role("button", name="Make a token").click()
    page.get_by_text("Copy it now").wait_for()
    assert faults(page) == [], "with a token"


def test_every_target_of_the_plan_page_is_large_enough_for_a_thumb(served, watch):
    page = open_as(served, watch, "scheduler", "/plan", PHONE)
    page.wait_for_selector("#plan-calendar-save")
    small = page.evaluate(
        """() => [...document.querySelectorAll("main button, main input, main textarea, main a")]
            .filter((node) => node.checkVisibility())
            .map((node) => [node.closest("label") || node, node])
            .filter(([target]) => target.getBoundingClientRect().height < 44)
            .map(([, node]) => node.outerHTML.slice(0, 120))"""
    )
    assert small == []


def test_saving_is_within_reach_on_a_phone_however_much_would_change(served, watch):
    page = open_as(served, watch, "scheduler", "/plan", PHONE)
    page.wait_for_load_state("networkidle")
    choose(
        page, served.project.plan.baseline().text.replace("-28,", "-27,").replace("2027-", "2028-")
    )
    page.locator("#plan-save").wait_for()
    assert page.locator(".plan-moves tbody tr").count() > 10
    page.locator(".plan-moves tbody tr").first.scroll_into_view_if_needed()
    reach = page.locator("#plan-save").evaluate(
        """(button) => {
            const { left, right, top, bottom } = button.getBoundingClientRect();
            const hit = document.elementFromPoint((left + right) / 2, (top + bottom) / 2);
            return hit === button && bottom < innerHeight;
        }"""
    )
    assert reach
    table = page.get_by_role("region", name="Planned finishes that would change")
    assert table.evaluate("(box) => box.scrollWidth - box.clientWidth") <= 0
