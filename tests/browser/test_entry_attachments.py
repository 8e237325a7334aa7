"""Photos and documents at shift end: kept without signal, sent before what names them."""

from __future__ import annotations

import hashlib
import re

from playwright.sync_api import expect

from tests.browser.entry_steps import (
    WHO,
    entries,
    open_entry,
    ready,
    recorded,
    row,
    send,
    take_in_list,
    tick,
)

UNDER_WAY = ("W_from_east", "W23", "bottom_slab_stems")
PHOTO = {"name": "stem.jpg", "mimeType": "image/jpeg", "buffer": b"\xff\xd8\xff\xe0 stem form"}
PROGRAM = {"name": "stem.jpg", "mimeType": "image/jpeg", "buffer": b"MZ not a photo"}


def attach(page, file):
    tick(page, *UNDER_WAY, "Note").get_by_label("Photo or document").set_input_files(file)
    expect(page.get_by_role("button", name="Remove the photo stem.jpg")).to_be_visible()


def test_the_page_says_that_a_photo_keeps_what_the_phone_wrote_into_it(served, watch):
    work = tick(open_entry(watch, served.url), *UNDER_WAY, "Note")
    expect(work).to_contain_text("a photo may tell where, when and with which phone it was taken")


def test_a_photo_taken_without_signal_is_sent_and_named_by_its_entry(served, watch):
    page = open_entry(watch, served.url)
    page.context.set_offline(True)
    attach(page, PHOTO)
    page.reload()
    ready(page)
    send(page)
    expect(entries(page, "queued")).to_contain_text("with stem.jpg")
    page.context.set_offline(False)
    expect(entries(page, "sent")).to_have_count(1)
    (event,) = recorded(served, *UNDER_WAY[1:], by=WHO)
    key = hashlib.sha256(PHOTO["buffer"]).hexdigest()
    assert (event.kind, event.note) == ("note", f"attachment:{key}")
    assert served.project.attachments.read(key)[1] == PHOTO["buffer"]


def test_the_photo_is_reached_from_the_history_of_its_unit(served, watch):
    page = open_entry(watch, served.url)
    attach(page, PHOTO)
    send(page)
    expect(entries(page, "sent")).to_have_count(1)
    on_map = watch.open_map(f"{served.url}/?unit=W23&span=1")
    on_map.wait_for_function("() => window.pourmap.state.span >= 0")
    on_map.focus("#map-view")
    on_map.keyboard.press("Enter")
    link = on_map.get_by_role("link", name="photo or document").first
    expect(link).to_be_visible()
    answer = on_map.request.get(served.url + link.get_attribute("href"))
    assert answer.body() == PHOTO["buffer"]
    assert answer.headers["content-type"] == "image/jpeg"


def test_a_photo_stays_with_its_entry_when_that_is_corrected_later(served, watch):
    page = open_entry(watch, served.url)
    attach(page, PHOTO)
    send(page)
    expect(entries(page, "sent")).to_have_count(1)
    page.reload()  # the phone has let go of the photo, for the log has it
    ready(page)
    entries(page, "sent").get_by_role("button", name="Correct").click()
    row(page, *UNDER_WAY[1:]).get_by_role("textbox", name="Note").fill("west stem")
    send(page)
    expect(entries(page, "sent")).to_have_count(2)
    key = hashlib.sha256(PHOTO["buffer"]).hexdigest()
    assert recorded(served, *UNDER_WAY[1:], by=WHO)[-1].note == f"west stem attachment:{key}"


def test_what_is_no_photo_is_refused_and_nothing_of_the_entry_recorded(served, watch):
    page = open_entry(watch, served.url)
    attach(page, PROGRAM)
    send(page)
    expect(entries(page, "refused")).to_contain_text(re.compile("none of the kinds"))
    assert recorded(served, *UNDER_WAY[1:], by=WHO) == []


def test_a_file_that_is_too_large_is_said_at_once(served, watch):
    page = open_entry(watch, served.url)
    take_in_list(page)
    work = tick(page, *UNDER_WAY, "Note")
    large = {**PHOTO, "buffer": PHOTO["buffer"] + bytes(10 * 2**20)}
    work.get_by_label("Photo or document").set_input_files(large)
    expect(work.get_by_text("more than 10 MB")).to_be_visible()
    expect(page.get_by_role("button", name=re.compile("^Remove"))).to_have_count(0)
