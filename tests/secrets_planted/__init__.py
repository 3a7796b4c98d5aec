"""A journal with a secret in every text field that there is, and ways to look for secrets in what leaves it."""

from __future__ import annotations

import base64
import binascii
import gzip
import io
import re
import sqlite3
import zlib
from typing import TYPE_CHECKING

from journals import INSTANT, small_journal
from PIL import Image, ImageCms

from journal.store.opening import open_journal
from journal.store.summaries import refresh_all

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

#: Rows in the tables that a small journal leaves empty.
MORE_ROWS = (
    f"insert into imports (id, started_at, state, paths) values (1, '{INSTANT}', 'done', 'x')",
    "insert into problems (import_id, path, problem, next_step) values (1, 'x', 'x', 'x')",
    "insert into files (frame_id, path, file_name, kind, size_bytes, mtime_ns, content_key) "
    "values (1, 'x', 'x', 'jpeg', 1, 1, 'x')",
    f"insert into judgings (id, made_at, judged_by, description) values (1, '{INSTANT}', 'x', 'x')",
    "insert into verdicts (frame_id, verdict, judged_at, judged_by, source, judging_id) "
    f"values (1, 'keeper', '{INSTANT}', 'x', 'page', 1)",
    "insert into measurements (frame_id, measure_version, source, content_key, measured_at, measures) "
    f"values (1, 1, 'picture', 'x', '{INSTANT}', 'x')",
    "insert into suggestions (frame_id, model_version, fault, probability, is_unsure, probabilities, evidence, "
    f"suggested_at) values (1, 'x', 'noise', 0.5, 0, 'x', 'x', '{INSTANT}')",
    f"insert into advice (habit, advice, given_at) values ('x', 'x', '{INSTANT}')",
    f"insert into advice (habit, advice, given_at) values ('slow_by_hand', 'x', '{INSTANT}')",
    "insert into settings values ('x', 'x')",
    f"insert into mentor_links (link_key, mentor, made_at, expires_at) values ('x', 'x', '{INSTANT}', '{INSTANT}')",
    f"insert into reviews (id, review_key, made_at, questions) values (1, 'x', '{INSTANT}', 'x')",
    "insert into comments (comment_key, review_id, about, habit, body, mentor, said_at, read_at, source) "
    f"values ('x', 1, 'habit', 'x', 'x', 'x', '{INSTANT}', '{INSTANT}', 'page')",
    "insert into mentor_verdicts (verdict_key, review_id, frame_id, verdict, mentor, said_at, read_at, source) "
    f"values ('x', 1, 1, 'keeper', 'x', '{INSTANT}', '{INSTANT}', 'page')",
    f"insert into anchor_rounds values (1, '{INSTANT}', 1, 1, 1)",
    f"insert into anchors values (1, 1, 1, 1, 'keeper', '{INSTANT}')",
    f"insert into anchor_verdicts values (1, 1, 'x', 'keeper', '{INSTANT}', 'x', null)",
)
#: Columns that must stay as they are: moments, and a habit that the catalogue must know.
KEPT = re.compile(r".*_at$|taken_at_local|evidence_(from|until)")


def journal_of_secrets(path: Path) -> tuple[Path, set[str]]:
    """A small journal whose every free text is a secret of its own; its summaries are counted anew afterwards.

    Returns:
        The journal, and the fields that hold a secret, as table.column.
    """
    small_journal(path)
    connection = open_journal(path)
    for sql in MORE_ROWS:
        connection.execute(sql)
    planted = {field for table, column in _texts(connection) if (field := _plant(connection, table, column))}
    connection.execute("update advice set habit = 'slow_by_hand' where id = 2")
    connection.execute("update frames set latitude = 41.234567, longitude = 42.345678")
    connection.execute("update sessions set latitude = 43.456789, longitude = 44.567891")
    connection.execute("update previews set webp = ?", [picture_with_secrets()])
    refresh_all(connection)
    connection.close()
    return path, planted


def _texts(connection: sqlite3.Connection) -> list[tuple[str, str]]:
    tables = connection.execute("select name from sqlite_master where type = 'table' and sql like '%strict%'")
    return [
        (row[0], column["name"])
        for row in tables.fetchall()
        for column in connection.execute(f"pragma table_info({row[0]})")
        if column["type"].lower() == "text" and not KEPT.fullmatch(column["name"])
    ]


def _plant(connection: sqlite3.Connection, table: str, column: str) -> str | None:
    """A secret of its own in each row; a column that holds only the schema's words refuses it and has none."""
    try:
        done = connection.execute(f"update {table} set {column} = 'Hidden-{table}-{column}-' || rowid")
    except sqlite3.DatabaseError:
        return None
    return f"{table}.{column}" if done.rowcount else None


def picture_with_secrets() -> bytes:
    """A WebP picture with secrets in Exif, XMP and its colour profile."""
    picture = Image.new("RGB", (60, 40), (90, 120, 90))
    exif = Image.Exif()
    exif[0x010E], exif[0x013B] = "Hidden-exif-description", "Hidden-exif-artist"
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    stream = io.BytesIO()
    xmp = b"<x:xmpmeta xmlns:x='adobe:ns:meta/'>Hidden-xmp-place</x:xmpmeta>"
    picture.save(stream, format="WEBP", exif=exif.tobytes(), xmp=xmp, icc_profile=profile)
    assert b"Hidden-xmp" in stream.getvalue()
    assert b"Hidden-exif-artist" in stream.getvalue()
    return stream.getvalue()


def unpacked(contents: Iterable[bytes]) -> list[bytes]:
    """The contents, and whatever stands in them as base64 or compressed, unpacked."""
    found = []
    for content in contents:
        found.append(content)
        for text in re.findall(rb"[A-Za-z0-9+/]{24,}={0,2}", content):
            try:
                found.append(base64.b64decode(text + b"=" * (-len(text) % 4)))
            except binascii.Error:
                continue
    for content in list(found):
        for start in (b"\x1f\x8b", b"\x78\x9c", b"\x78\xda"):
            for match in re.finditer(re.escape(start), content):
                try:
                    opened = gzip.decompress if start == b"\x1f\x8b" else zlib.decompress
                    found.append(opened(content[match.start() :]))
                except (OSError, EOFError, zlib.error):
                    continue
    return found


def secrets_in(contents: Iterable[bytes]) -> set[str]:
    """The fields whose secrets can be read in these contents."""
    pattern = re.compile(rb"Hidden-([a-z_]+)-([a-z_0-9]+)")
    return {
        f"{match[1].decode()}.{match[2].decode()}"
        for content in unpacked(contents)
        for match in pattern.finditer(content)
    }
