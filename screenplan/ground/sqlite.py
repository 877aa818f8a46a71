"""Files of SQLite, such as GeoPackages, known by how they begin (SQLite, "Database File Format", section 1.3)."""

from __future__ import annotations

MAGIC = b"SQLite format 3\0"


def is_database(head: bytes | bytearray) -> bool:
    """Tell by a file's first bytes whether it is an SQLite file."""
    return head.startswith(MAGIC)
