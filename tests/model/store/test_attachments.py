"""Photos and documents beside the log."""

from __future__ import annotations

import hashlib
import os
import shutil
import threading
from pathlib import Path

import pytest

from model.problems import InputError, StoreError
from model.store.attachments import Attachments

# The first bytes as the standards named in the module give them.
JPEG = b"\xff\xd8\xff\xe0\x00\x10JFIF\x00 wet plywood"
PNG = bytes.fromhex("89504e470d0a1a0a") + b"\x00\x00\x00\rIHDR load ticket"
WEBP = b"RIFF\x24\x00\x00\x00WEBPVP8 rebar"
HEIC = b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00 deck forms"
PDF = b"%PDF-1.7\n% delivery note"


@pytest.fixture
def kept(tmp_path: Path) -> Attachments:
    return Attachments(tmp_path / "attachments", largest_bytes=1000)


def files(kept: Attachments) -> list[Path]:
    return [path for path in kept._folder.rglob("*") if path.is_file()]


@pytest.mark.parametrize(
    ("content", "media_type"),
    [
        (JPEG, "image/jpeg"),
        (PNG, "image/png"),
        (WEBP, "image/webp"),
        (HEIC, "image/heic"),
        (PDF, "application/pdf"),
    ],
)
def test_what_is_kept_comes_back_under_the_hash_of_its_content(
    kept: Attachments, content: bytes, media_type: str
):
    attachment = kept.keep(content)
    assert attachment.key == hashlib.sha256(content).hexdigest()
    assert (attachment.media_type, attachment.size_bytes) == (media_type, len(content))
    assert kept.read(attachment.key) == (attachment, content)


def test_the_same_photo_sent_twice_is_kept_once(kept: Attachments):
    assert kept.keep(JPEG) == kept.keep(JPEG)
    assert len(files(kept)) == 1


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>",
        b"<!doctype html><script>alert(1)</script>",
        b"\x89PN",
        b"RIFF\x24\x00\x00\x00WAVE",
        b"MZ\x90\x00",
        b" %PDF-1.7",
    ],
)
def test_a_kind_that_is_not_taken_is_refused_whatever_it_is_called(
    kept: Attachments, content: bytes
):
    with pytest.raises(InputError, match="jpg, png, webp, heic, pdf"):
        kept.keep(content)
    assert files(kept) == []


def test_a_file_that_is_too_large_is_refused(kept: Attachments):
    kept.keep(JPEG + bytes(1000 - len(JPEG)))
    with pytest.raises(InputError, match="1,001 bytes; 1,000 are allowed"):
        kept.keep(JPEG + bytes(1001 - len(JPEG)))


@pytest.mark.parametrize(
    "key", ["", "../../log.sqlite", "A" * 64, "0" * 63, "0" * 64, "0" * 64 + "\n"]
)
def test_a_key_that_is_not_kept_is_named(kept: Attachments, key: str):
    kept.keep(JPEG)
    with pytest.raises(InputError, match="not kept here"):
        kept.read(key)


def test_a_file_that_was_changed_is_not_handed_out_and_is_made_good_when_sent_again(
    kept: Attachments,
):
    attachment = kept.keep(JPEG)
    files(kept)[0].write_bytes(JPEG + b" spoiled")
    with pytest.raises(StoreError, match="no longer what was kept"):
        kept.read(attachment.key)
    kept.keep(JPEG)
    assert kept.read(attachment.key)[1] == JPEG


def test_a_file_that_could_not_be_finished_is_not_there(kept: Attachments, monkeypatch):
    def no_room(_: int) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", no_room)
        with pytest.raises(StoreError, match="No space left"):
            kept.keep(JPEG)
    assert files(kept) == []
    kept.keep(JPEG)


def test_photos_leave_the_room_that_entries_need(tmp_path: Path):
    free = shutil.disk_usage(tmp_path).free
    kept = Attachments(tmp_path / "attachments", left_free_bytes=2 * free)
    with pytest.raises(StoreError, match="entries without one are still taken"):
        kept.keep(JPEG)
    assert files(kept) == []


def test_many_who_send_the_same_photo_at_once_all_get_its_key(kept: Attachments):
    keys: list[str] = []
    threads = [threading.Thread(target=lambda: keys.append(kept.keep(JPEG).key)) for _ in range(16)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert keys == [hashlib.sha256(JPEG).hexdigest()] * 16
    assert len(files(kept)) == 1
