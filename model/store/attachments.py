"""Photos and documents beside the log, each kept once under the hash of its content.

The name is the content: the same photo sent twice is one file, what has been kept cannot be
changed without it showing, and nothing that a sender writes becomes part of a path. What a
file is, is read from its first bytes and not from what the sender calls it; nothing is taken
that a browser would run.

References
----------
.. [1] JPEG: ISO/IEC 10918-1, annex B. PNG: W3C, Portable Network Graphics, 5.2. PDF: ISO
   32000-1, 7.5.2. WebP: RFC 9649, 2.4. HEIC: ISO/IEC 23008-12 with ISO/IEC 14496-12, 4.3.
"""

from __future__ import annotations

import hashlib
import re
import shutil
from dataclasses import dataclass
from pathlib import Path

from model.problems import InputError, Problem, StoreError
from model.store.disk import in_the_making

LARGEST_BYTES = 10 * 2**20
"""Ten mebibytes: a photo at a phone's full size, or a scanned page or twenty."""

LEFT_FREE_BYTES = 256 * 2**20
"""Of the disk: photos must not take the room that entries need."""

READABLE = 0o644
_KEY = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of file that is taken.

    Parameters
    ----------
    ending
        Of the file beside the log.
    media_type
        As the web calls it.
    starts
        What its content begins with; a ``?`` stands for any byte.
    """

    ending: str
    media_type: str
    starts: tuple[bytes, ...]

    def is_kind_of(self, content: bytes) -> bool:
        """Tell whether content begins like this kind."""
        return any(_begins(content, start) for start in self.starts)


KINDS: tuple[Kind, ...] = (
    Kind("jpg", "image/jpeg", (b"\xff\xd8\xff",)),
    Kind("png", "image/png", (b"\x89PNG\r\n\x1a\n",)),
    Kind("webp", "image/webp", (b"RIFF????WEBP",)),
    Kind("heic", "image/heic", (b"????ftypheic", b"????ftypheix", b"????ftypmif1")),
    Kind("pdf", "application/pdf", (b"%PDF-",)),
)


@dataclass(frozen=True, slots=True)
class Attachment:
    """A photo or document that is kept.

    Parameters
    ----------
    key
        SHA-256 of its content, 64 hexadecimal digits.
    media_type
        As the web calls it.
    size_bytes
        Length of its content, bytes.
    """

    key: str
    media_type: str
    size_bytes: int


class Attachments:
    """The photos and documents of a project.

    Parameters
    ----------
    folder
        Where they are kept; it is made when the first one comes.
    largest_bytes
        Nothing longer is taken, bytes.
    left_free_bytes
        Nothing is taken that would leave less room on the disk, bytes.
    """

    def __init__(
        self,
        folder: Path,
        *,
        largest_bytes: int = LARGEST_BYTES,
        left_free_bytes: int = LEFT_FREE_BYTES,
    ) -> None:
        self._folder = folder
        self._largest_bytes = largest_bytes
        self._left_free_bytes = left_free_bytes

    def keep(self, content: bytes) -> Attachment:
        """Keep a photo or document; it is on the disk when this returns.

        Raises
        ------
        InputError
            When it is empty, too large, or of a kind that is not taken.
        StoreError
            When it cannot be written; nothing is kept then.
        """
        kind = self._accepted(content)
        key = hashlib.sha256(content).hexdigest()
        path = self._path(key, kind)
        try:
            # Looked at and not only found: a file that was spoiled since is made good.
            if not (path.is_file() and path.read_bytes() == content):
                path.parent.mkdir(parents=True, exist_ok=True)
                self._leave_room(len(content))
                with in_the_making(path, replace=True, mode=READABLE) as part:
                    part.write_bytes(content)
        except OSError as error:
            raise StoreError(
                f"The attachment cannot be kept ({error.strerror or error}). Make room, see that "
                "this user may write to the project folder, and send it again."
            ) from error
        return Attachment(key, kind.media_type, len(content))

    def read(self, key: str) -> tuple[Attachment, bytes]:
        """Return a photo or document by its key.

        Raises
        ------
        InputError
            When there is none.
        StoreError
            When it cannot be read, or is no longer what was kept.
        """
        for kind in KINDS if _KEY.fullmatch(key) else ():
            path = self._path(key, kind)
            if path.is_file():
                return Attachment(key, kind.media_type, path.stat().st_size), _sound(path, key)
        raise InputError([Problem("attachment", f"{key!r} is not kept here.",
                                  "Send the file again.", field="key")])  # fmt: skip

    def _accepted(self, content: bytes) -> Kind:
        if len(content) > self._largest_bytes:
            raise _refused(
                f"The file has {len(content):,} bytes; {self._largest_bytes:,} are allowed.",
                "Send a smaller one.",
            )
        kind = next((kind for kind in KINDS if kind.is_kind_of(content)), None)
        if kind is None:
            found = "is empty" if not content else "is none of the kinds that are taken"
            kinds = ", ".join(kind.ending for kind in KINDS)
            raise _refused(f"The file {found}.", f"Send one of these: {kinds}.")
        return kind

    def _leave_room(self, more_bytes: int) -> None:
        free = shutil.disk_usage(self._folder).free
        if free - more_bytes < self._left_free_bytes:
            raise StoreError(
                f"The disk has {free:,} bytes left, which are for entries. Make room, then send "
                "the attachment again; entries without one are still taken."
            )

    def _path(self, key: str, kind: Kind) -> Path:
        return self._folder / key[:2] / f"{key}.{kind.ending}"


def _begins(content: bytes, start: bytes) -> bool:
    return len(content) >= len(start) and all(
        expected in (found, ord("?")) for found, expected in zip(content, start, strict=False)
    )


def _sound(path: Path, key: str) -> bytes:
    try:
        content = path.read_bytes()
    except OSError as error:
        raise StoreError(f"{path.name} cannot be read ({error.strerror or error}).") from error
    if hashlib.sha256(content).hexdigest() != key:
        raise StoreError(f"{path.name} is no longer what was kept. Take it from a backup.")
    return content


def _refused(message: str, fix: str) -> InputError:
    return InputError([Problem("attachment", message, fix, field="file")])
