"""One interface to the event log, and the stores that keep it; the accounts beside it."""

from model.store.account_books import open_accounts
from model.store.interface import Store
from model.store.opening import open_store
from model.store.taking import Appended, Judge

__all__ = ["Appended", "Judge", "Store", "open_accounts", "open_store"]
