"""A text document with a name made from its content, so that it can be kept for ever."""

from __future__ import annotations

import gzip
import hashlib
from dataclasses import dataclass
from functools import cached_property

HASH_CHARACTERS = 16


@dataclass(frozen=True)
class Document:
    """Bytes and the hash that names them.

    Parameters
    ----------
    content
        UTF-8 text.

    Examples
    --------
    >>> Document(b"{}").hash
    '44136fa355b3678a'
    """

    content: bytes

    @cached_property
    def hash(self) -> str:
        """Name made from the content (SHA-256, shortened)."""
        return hashlib.sha256(self.content).hexdigest()[:HASH_CHARACTERS]

    @cached_property
    def gzipped(self) -> bytes:
        """The content compressed, the same bytes every time."""
        return gzip.compress(self.content, mtime=0)
