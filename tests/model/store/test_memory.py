"""The store in memory."""

from __future__ import annotations

import pytest

from model.store import open_store
from model.store.memory import MemoryStore
from tests.model.store.promises import StorePromises


class TestMemory(StorePromises):
    @pytest.fixture
    def open_log(self):
        return MemoryStore


def test_its_address_says_memory():
    assert isinstance(open_store(":memory:"), MemoryStore)
