"""One interface to the event log, and the stores that keep it; what is kept beside it."""

from model.store.account_books import open_accounts
from model.store.attachments import Attachment, Attachments
from model.store.backup import BackedUp, back_up, restore
from model.store.former import alone_in, replace_kept
from model.store.interface import Store
from model.store.opening import open_store
from model.store.taking import Appended, Judge

__all__ = [
    "Appended",
    "Attachment",
    "Attachments",
    "BackedUp",
    "Judge",
    "Store",
    "alone_in",
    "back_up",
    "open_accounts",
    "open_store",
    "replace_kept",
    "restore",
]
