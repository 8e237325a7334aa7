"""One interface to the event log, and the stores that keep it."""

from model.store.interface import Appended, Judge, Store
from model.store.opening import open_store

__all__ = ["Appended", "Judge", "Store", "open_store"]
