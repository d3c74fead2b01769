"""The database: opened, held by those who work on it, and brought to the newest form."""

from api.database.holding import Hold, Served, hold
from api.database.opening import AT_ONCE, aside, begin_writing, open_database, parts, transaction
from api.database.server_locks import Duty
from api.database.upgrading import MIGRATIONS, forms, upgrade

__all__ = [
    "AT_ONCE",
    "MIGRATIONS",
    "Duty",
    "Hold",
    "Served",
    "aside",
    "begin_writing",
    "forms",
    "hold",
    "open_database",
    "parts",
    "transaction",
    "upgrade"
]  # fmt: skip
