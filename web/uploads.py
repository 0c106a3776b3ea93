"""Files that were sent in to be previewed: kept for an hour, then cleared."""

import secrets
from datetime import datetime, timedelta

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage

FOLDER = "lists"
KEPT_FOR = timedelta(hours=1)


def preview_keep(content: bytes) -> str:
    """Keep a file under a name that nobody can guess, and return the name."""
    return default_storage.save(f"{FOLDER}/{secrets.token_hex(16)}", ContentFile(content))


def previews_clear(now: datetime) -> int:
    """A duty of the tick: delete every kept file that can no longer be applied. Returns how many."""
    try:
        _folders, names = default_storage.listdir(FOLDER)
    except FileNotFoundError:
        return 0
    cleared = 0
    for name in names:
        path = f"{FOLDER}/{name}"
        try:
            old = default_storage.get_modified_time(path) < now - KEPT_FOR
        except FileNotFoundError:
            continue  # applied, or cleared by another tick, meanwhile
        if old:
            default_storage.delete(path)
            cleared += 1
    return cleared
