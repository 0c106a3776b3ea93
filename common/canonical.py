"""One text for one JSON value, so that two bodies can be compared by their hash."""

import hashlib
import json
import zlib
from typing import Any

from pydantic_core import from_json, to_json


def canonical_json(value: Any) -> bytes:
    """Sorted keys, no spaces, UTF-8; NaN and infinities refused. 5 and 5.0 are the same number."""
    return json.dumps(
        _plain(value), sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    ).encode()


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_plain(item) for item in value]
    if isinstance(value, float) and value.is_integer() and abs(value) < 2**53:
        return int(value)
    return value


def body_hash(value: Any) -> bytes:
    """SHA-256 of the canonical JSON, 32 bytes."""
    return hashlib.sha256(canonical_json(value)).digest()


def packed(value: Any) -> bytes:
    """The JSON value, compressed for keeping."""
    return zlib.compress(to_json(value), 1)


def unpacked(data: bytes | memoryview) -> Any:
    """The JSON value that `packed` kept."""
    return from_json(zlib.decompress(data))
