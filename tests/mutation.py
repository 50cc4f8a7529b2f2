"""Valid files changed a little, in their bytes and in their structure: what is nearly right finds more than what is not.

Every change is drawn from a `random.Random`, so that the same seed changes a file in the same way everywhere.
"""

from __future__ import annotations

import contextlib
import io
import json
import random
import re
import sqlite3
import xml.etree.ElementTree as ET
import zipfile
from collections.abc import Callable, Iterator, MutableMapping, Sequence
from copy import deepcopy
from typing import Any, TypeVar

T = TypeVar("T")
Damage = Callable[[bytes, random.Random], bytes]
Change = Callable[[bytes, bytes, random.Random], bytes]
"""A change of the first file, to which the second may lend pieces."""

LARGEST = 200_000
"""A mutated file is cut to so many bytes, so that no change makes another slow by size alone."""

# Bytes


def flipped(data: bytes, chance: random.Random) -> bytes:
    """A few bits the other way round."""
    changed = bytearray(data)
    for _ in range(chance.randint(1, 6)):
        changed[chance.randrange(len(changed))] ^= 1 << chance.randrange(8)
    return bytes(changed)


def bytes_replaced(data: bytes, chance: random.Random) -> bytes:
    changed = bytearray(data)
    for _ in range(chance.randint(1, 4)):
        changed[chance.randrange(len(changed))] = chance.choice(
            (0, 1, 0x7F, 0x80, 0xF0, 0xFF, 0x2F, 0x51, 0x58)
        )
    return bytes(changed)


def fields_replaced(data: bytes, chance: random.Random) -> bytes:
    """A number of one, two or four bytes at its least, at its most, or nearly so."""
    size = chance.choice((1, 2, 4))
    at = chance.randrange(max(1, len(data) - size))
    most = 256**size - 1
    value = chance.choice((0, 1, most // 2, most // 2 + 1, most - 1, most))
    return data[:at] + value.to_bytes(size, "big") + data[at + size :]


def cut(data: bytes, chance: random.Random) -> bytes:
    return data[: chance.randrange(len(data))]


def piece(data: bytes, chance: random.Random) -> tuple[int, int]:
    start = chance.randrange(len(data))
    return start, min(len(data), start + chance.randint(1, 40))


def left_out(data: bytes, chance: random.Random) -> bytes:
    start, end = piece(data, chance)
    return data[:start] + data[end:]


def doubled(data: bytes, chance: random.Random) -> bytes:
    start, end = piece(data, chance)
    return data[:end] + data[start:end] * chance.choice((1, 1, 2, 50)) + data[end:]


def swapped(data: bytes, chance: random.Random) -> bytes:
    a, b, c = sorted(chance.randrange(len(data) + 1) for _ in range(3))
    return data[:a] + data[b:c] + data[a:b] + data[c:]


def inserted(data: bytes, chance: random.Random) -> bytes:
    at = chance.randrange(len(data) + 1)
    return data[:at] + chance.randbytes(chance.randint(1, 24)) + data[at:]


BYTES: tuple[Damage, ...] = (
    flipped,
    bytes_replaced,
    fields_replaced,
    cut,
    left_out,
    doubled,
    swapped,
    inserted,
)


def joined(data: bytes, other: bytes, chance: random.Random) -> bytes:
    """The beginning of one file and the end of another."""
    return data[: chance.randrange(len(data) + 1)] + other[chance.randrange(len(other) + 1) :]


# Pieces of any kind


def pieces_changed(parts: Sequence[T], lent: Sequence[T], chance: random.Random) -> list[T]:
    """Some pieces with one left out, copied, moved, cut off, turned round, or taken from elsewhere."""
    if not parts:
        return list(lent[:1])
    changed = list(parts)
    a, b = sorted((chance.randrange(len(parts)), chance.randrange(len(parts))))
    kind = chance.randrange(8)
    if kind == 0:
        del changed[a]
    elif kind == 1:
        changed.insert(b, changed[a])
    elif kind == 2:
        changed[a:a] = changed[a : a + 1] * chance.choice((2, 8, 40))
    elif kind == 3:
        changed[a], changed[b] = changed[b], changed[a]
    elif kind == 4:
        del changed[a : b + 1]
    elif kind == 5:
        changed[a:b] = changed[a:b][::-1]
    elif lent:
        start = chance.randrange(len(lent))
        taken = lent[start : start + chance.choice((1, 1, 4))]
        changed[a : a + chance.choice((0, len(taken)))] = taken
    return changed


# Texts

HUGE = ("0", "-1", "7", "00", "99999", "2147483648", "-9223372036854775809", "1e400", "9" * 5000, "-0.0", "NaN", "inf",
        "1/0", "0.1", "1e-9", "٣", "½", "")  # fmt: skip
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
_CUTS = (r"(\n)", r"(\s+)", r"([|,=:\[\]{}\"'()])", r"(?=[\[{|])")


def numbers_changed(data: bytes, chance: random.Random) -> bytes:
    """One number of a text, or a digit of it, in the place of which another stands."""
    text = data.decode("utf-8")
    places = [found.span() for found in _NUMBER.finditer(text)]
    start, end = chance.choice(places)
    if chance.random() < 0.3:
        start = end - 1
    return (text[:start] + chance.choice(HUGE) + text[end:]).encode()


def text_changed(data: bytes, other: bytes, chance: random.Random) -> bytes:
    """Lines, words or bracketed pieces of a text changed, or one of its numbers."""
    if chance.random() < 0.35:
        return numbers_changed(data, chance)
    cuts = chance.choice(_CUTS)
    parts, lent = re.split(cuts, data.decode()), re.split(cuts, other.decode())
    return "".join(pieces_changed(parts, lent, chance)).encode()


# XML


def xml_changed(data: bytes, other: bytes, chance: random.Random) -> bytes:
    """Elements left out, copied, moved or taken from another score; values and attributes changed. It stays whole XML."""
    tree, lender = ET.fromstring(data), ET.fromstring(other)
    elements = list(tree.iter())
    kind = chance.randrange(10)
    if kind < 5:
        parent = chance.choice([each for each in elements if len(each)])
        lent = [child for each in lender.iter(parent.tag) for child in each]
        parent[:] = [deepcopy(child) for child in pieces_changed(list(parent), lent, chance)]
    elif kind < 8:
        leaf = chance.choice([each for each in elements if not len(each)])
        others = [each.text or "" for each in lender.iter() if not len(each)]
        leaf.text = chance.choice((*HUGE, *others))
    elif kind == 8:
        each = chance.choice([each for each in elements if each.attrib])
        name = chance.choice(list(each.attrib))
        each.set(name, chance.choice((*HUGE, "start", "stop", "yes", "no", "x" * 300)))
    else:
        chance.choice(elements).tag = chance.choice(elements).tag
    return ET.tostring(tree)


def packed(xml: bytes, name: str = "wren.xml", *, container: bool = True) -> bytes:
    """A score in a packed file."""
    entry = f'<container><rootfiles><rootfile full-path="{name}"/></rootfiles></container>'.encode()
    return _zipped({**({"META-INF/container.xml": entry} if container else {}), name: xml})


def _zipped(entries: dict[str, bytes]) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in entries.items():
            archive.writestr(zipfile.ZipInfo(name), content)
    return buffer.getvalue()


def pack_changed(data: bytes, other: bytes, chance: random.Random) -> bytes:
    """A packed score of which one entry is changed, called otherwise, or missing."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive, zipfile.ZipFile(io.BytesIO(other)) as lender:
        entries = {name: archive.read(name) for name in archive.namelist()}
        lent = [lender.read(name) for name in lender.namelist()]
    name = chance.choice(list(entries))
    kind = chance.randrange(8)
    if kind == 0:
        entries[chance.choice(("", "a/../b.xml", "x.xml", "META-INF/x", "é" * 300))] = entries.pop(name)
    elif kind == 1:
        del entries[name]
    elif kind == 2:
        entries[name] = chance.choice(BYTES)(entries[name], chance)
    else:
        entries[name] = xml_changed(entries[name], chance.choice(lent), chance)
    return _zipped(entries)


# MIDI files


def chunks_of(data: bytes) -> list[tuple[bytes, bytes]]:
    """The chunks of a MIDI file: what each is called and what it holds."""
    found, at = [], 0
    while at + 8 <= len(data):
        end = at + 8 + int.from_bytes(data[at + 4 : at + 8], "big")
        found.append((data[at : at + 4], data[at + 8 : end]))
        at = end
    return found


def messages_of(body: bytes) -> Iterator[bytes]:
    """The messages of a track, each with the time before it (Standard MIDI Files 1.0); IndexError where it is damaged."""
    at = 0
    while at < len(body):
        start, at = at, _after_number(body, at)
        status = body[at]
        if status in (0xF0, 0xF7, 0xFF):
            length = at + 1 + (status == 0xFF)
            at = _after_number(body, length)
            at += _number(body[length:at])
        else:
            at += bool(status & 0x80) + (1 if status & 0xE0 == 0xC0 else 2)
        yield body[start:at]


def _after_number(body: bytes, at: int) -> int:
    while body[at] & 0x80:
        at += 1
    return at + 1


def _number(digits: bytes) -> int:
    value = 0
    for digit in digits:
        value = value << 7 | digit & 0x7F
    return value


_TIMES = (b"\x00", b"\x01", b"\x60", b"\x83\x60", b"\xff\x7f", b"\xff\xff\xff\x7f", b"\x80\x80\x80\x00", b"\x81\xff\xff\xff\x7f")  # fmt: skip
_HEADS = ("type", "tracks", "division")


def midi_changed(data: bytes, other: bytes, chance: random.Random) -> bytes:
    """Tracks or messages left out, copied, moved or taken from another file; times, lengths and the head changed."""
    chunks, lent = chunks_of(data), chunks_of(other)
    kind = chance.randrange(8)
    if kind == 0:
        chunks = pieces_changed(chunks, lent, chance)
    elif kind == 1:
        field, value = chance.randrange(3), chance.choice((0, 1, 2, 3, 96, 480, 32767, 0x8000, 0xE728, 65535))
        name, head = chunks[0]
        chunks[0] = (name, head[: 2 * field] + value.to_bytes(2, "big") + head[2 * field + 2 :])
    else:
        at = chance.randrange(1, len(chunks))
        chunks[at] = (chunks[at][0], _track_changed(chunks[at][1], chance.choice(lent[1:])[1], chance))
    wrong = chance.choice((-1, 1, 2**31)) if chance.random() < 0.05 else 0
    lengths = (max(0, len(body) + wrong).to_bytes(4, "big") for _, body in chunks)
    return b"".join(name + length + body for (name, body), length in zip(chunks, lengths, strict=True))


def _track_changed(body: bytes, other: bytes, chance: random.Random) -> bytes:
    messages, lent = list(messages_of(body)), list(messages_of(other))
    kind = chance.randrange(3)
    if kind == 0:
        return b"".join(pieces_changed(messages, lent, chance))
    at = chance.randrange(len(messages))
    time = _after_number(messages[at], 0)
    before, message = messages[at][:time], bytearray(messages[at][time:])
    if kind == 1:
        before = chance.choice(_TIMES)
    else:
        message[chance.randrange(len(message))] = chance.choice((0, 1, 0x2F, 0x7F, 0x80, 0x90, 0xF0, 0xFF))
    messages[at] = before + bytes(message)
    return b"".join(messages)


# JSON

_VALUES: tuple[Any, ...] = (
    0, -1, 1, 2**31, 2**63, -(10**30), 10**400, 1.5, -0.0, 1e308, float("nan"), float("inf"), "", "0", "x" * 5000, "a\x00b", "\ud800",
    "\u2028", "C", None, True, False, [], {}, [[]], [None], {"": 0},
)  # fmt: skip
_DEEP = 3000


def json_changed(data: bytes, other: bytes, chance: random.Random) -> bytes:
    """One value of a document left out, called otherwise, or replaced: by a strange one, or by one from elsewhere."""
    document, lender = json.loads(data), json.loads(other)
    if chance.random() < 0.02:
        return data.replace(b"[", b"[" * _DEEP, 1)
    slots, lent = list(_slots(document)), [holder[key] for holder, key in _slots(lender)]
    holder, key = chance.choice(slots)
    kind = chance.randrange(6)
    if kind == 0:
        del holder[key]
    elif kind == 1 and isinstance(holder, list):
        holder[:] = deepcopy(pieces_changed(holder, lent, chance))
    elif kind == 1:
        holder[chance.choice(("", "x", key.upper()))] = holder.pop(key)
    elif kind < 4:
        holder[key] = deepcopy(chance.choice(lent))
    else:
        holder[key] = chance.choice(_VALUES)
    return json.dumps(document).encode()


def _slots(value: Any) -> Iterator[tuple[Any, Any]]:
    """Where the values of a document stand: their list or object, and their place in it."""
    keys = (
        value if isinstance(value, MutableMapping) else range(len(value)) if isinstance(value, list) else ()
    )
    for key in list(keys):
        yield value, key
        yield from _slots(value[key])


# Books


def book_changed(data: bytes, other: bytes, chance: random.Random) -> bytes:
    """A value, a row or a table of a SQLite file changed, its version, or pages of it in each other's place."""
    if chance.random() < 0.2:
        size = int.from_bytes(data[16:18], "big")
        pages, lent = ([each[at : at + size] for at in range(0, len(each), size)] for each in (data, other))
        return b"".join(pieces_changed(pages, lent, chance))
    with contextlib.closing(sqlite3.connect(":memory:", isolation_level=None)) as book:
        book.deserialize(data)
        _row_changed(book, chance)
        return book.serialize()


def _row_changed(book: sqlite3.Connection, chance: random.Random) -> None:
    names = book.execute(
        "SELECT name, type FROM sqlite_master WHERE sql IS NOT NULL ORDER BY name"
    ).fetchall()
    kind = chance.randrange(10)
    if kind == 0:
        book.execute(
            f"PRAGMA {chance.choice(('user_version', 'application_id'))} = {chance.choice((0, 1, 2, 99, -1))}"
        )
        return
    if kind == 1:
        name, what = chance.choice(names)
        book.execute(f"DROP {what} [{name}]")
        return
    table = chance.choice([name for name, what in names if what == "table"])
    columns = [row[1] for row in book.execute(f"PRAGMA table_info([{table}])")]
    ((rows,),) = book.execute(f"SELECT count(*) FROM [{table}]").fetchall()
    where = f"WHERE rowid = (SELECT rowid FROM [{table}] LIMIT 1 OFFSET {chance.randrange(max(1, rows))})"
    if kind == 2:
        book.execute(f"DELETE FROM [{table}] {where}")
        return
    value = chance.choice(
        (0, -1, 2**62, 1.5, float("inf"), "", "x" * 3000, "a\x00b", None, b"\xff", b"", "[]", "{}", "| C |")
    )
    book.execute(f"UPDATE [{table}] SET [{chance.choice(columns)}] = ? {where}", (value,))


# All of them

WAYS: dict[str, Change] = {
    "midi": midi_changed,
    "musicxml": xml_changed,
    "mxl": pack_changed,
    "abc": text_changed,
    "phrase": text_changed,
    "chart": text_changed,
    "pack": text_changed,
    "json": json_changed,
    "book": book_changed,
}
"""How the structure of each kind of file is changed."""
_BLIND = 0.3
"""The share of changes that know nothing of the structure."""


def mutated(kind: str, data: bytes, lenders: Sequence[bytes], chance: random.Random) -> bytes:
    """A file of a kind changed once to three times, with pieces lent by others of its kind."""
    for _ in range(chance.choice((1, 1, 2, 3))):
        other = chance.choice(lenders)
        try:
            if chance.random() < _BLIND:
                blind = chance.randrange(len(BYTES) + 1)
                data = BYTES[blind](data, chance) if blind < len(BYTES) else joined(data, other, chance)
            else:
                data = WAYS[kind](data, other, chance)
        except (ValueError, IndexError, ET.ParseError, zipfile.BadZipFile, sqlite3.Error, RecursionError, NotImplementedError,
                OverflowError, KeyError, OSError, EOFError, zipfile.zlib.error):  # fmt: skip
            data = flipped(data or b"\x00", chance)  # an earlier change has left no structure to change
        data = data[:LARGEST] or b"\x00"
    return data
