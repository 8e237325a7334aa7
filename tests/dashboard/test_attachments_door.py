"""The doors for photos and documents."""

import hashlib

from dash import html

from dashboard.parts.note_text import note_text

PHOTO = b"\xff\xd8\xff\xe0 a photo"
KEY = hashlib.sha256(PHOTO).hexdigest()


def test_a_photo_is_kept_under_the_hash_of_its_content_and_given_back(client):
    for _ in range(2):  # a repeat is harmless
        kept = client.post("/api/attachments", data=PHOTO)
        assert kept.get_json() == {
            "key": KEY, "media_type": "image/jpeg", "size_bytes": len(PHOTO),
        }  # fmt: skip
    answer = client.get(f"/api/attachments/{KEY}")
    assert (answer.data, answer.mimetype) == (PHOTO, "image/jpeg")


def test_what_a_stranger_sent_can_do_nothing_in_a_browser(client):
    client.post("/api/attachments", data=PHOTO)
    answer = client.get(f"/api/attachments/{KEY}")
    assert answer.headers["Content-Security-Policy"] == "default-src 'none'; sandbox"
    assert answer.headers["X-Content-Type-Options"] == "nosniff"


def test_a_document_is_saved_and_a_photo_is_shown(client):
    document = client.post("/api/attachments", data=b"%PDF-1.7 a delivery note").get_json()
    assert document["media_type"] == "application/pdf"
    answer = client.get(f"/api/attachments/{document['key']}")
    # RFC 6266, section 4.2: "attachment" asks the browser to save it.
    assert answer.headers["Content-Disposition"].startswith("attachment;")
    client.post("/api/attachments", data=PHOTO)
    assert "Content-Disposition" not in client.get(f"/api/attachments/{KEY}").headers


def test_a_page_is_not_taken_for_a_photo(client):
    answer = client.post("/api/attachments", data=b"<script>1</script>", content_type="image/png")
    assert answer.status_code == 422
    assert "jpg" in answer.get_json()["problems"][0]["fix"]


def test_more_than_ten_megabytes_are_refused(client):
    assert client.post("/api/attachments", data=bytes(10 * 2**20 + 1)).status_code == 413


def test_what_is_not_kept_is_said(client):
    for key in ("0" * 64, "..", "log.sqlite"):
        assert client.get(f"/api/attachments/{key}").status_code == 404


def test_a_note_shows_its_words_as_text_and_what_is_attached_as_a_link():
    first, link, last = note_text(f"<b>crack</b> attachment:{KEY} at bent 4")
    assert (first, last) == ("<b>crack</b> ", " at bent 4")
    assert isinstance(link, html.A)
    assert link.href == f"/api/attachments/{KEY}"


def test_what_only_looks_like_an_attachment_stays_text():
    assert note_text("attachment:../../etc") == ["attachment:../../etc"]
