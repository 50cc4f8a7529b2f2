"""How an idea book is laid out, as numbered steps: a new book takes all of them, an older one those it lacks.

A step that has been published is never changed again; what is new becomes another step. In tables without row numbers
the columns of the primary key come first: the integrity check of SQLite 3.40 misreads others (seen by trying).
"""

from __future__ import annotations

from collections.abc import Iterable

APPLICATION = 0x66696C6C
"""The number in a SQLite file's header that marks an idea book: `fill` in ASCII."""

_IDEAS = """
CREATE TABLE progression (
    id INTEGER PRIMARY KEY,
    digest BLOB NOT NULL UNIQUE
);
CREATE TABLE chart (
    id INTEGER PRIMARY KEY,
    progression INTEGER NOT NULL REFERENCES progression,
    text TEXT NOT NULL,
    key TEXT NOT NULL,
    metre TEXT NOT NULL,
    title TEXT NOT NULL,
    first INTEGER NOT NULL,
    UNIQUE (text, key, metre, title, first)
);
CREATE TABLE origin (
    id INTEGER PRIMARY KEY,
    chart INTEGER NOT NULL REFERENCES chart,
    command TEXT NOT NULL,
    options TEXT NOT NULL,
    seed TEXT NOT NULL,
    rules TEXT NOT NULL,
    version TEXT NOT NULL,
    level INTEGER NOT NULL,
    rhythm TEXT NOT NULL,
    tempo INTEGER NOT NULL,
    swing INTEGER NOT NULL,
    hand TEXT NOT NULL,
    UNIQUE (chart, command, options, seed, rules, version, level, rhythm, tempo, swing, hand)
);
CREATE TABLE idea (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    progression INTEGER NOT NULL REFERENCES progression,
    onsets BLOB NOT NULL,
    pitches BLOB NOT NULL,
    origin INTEGER NOT NULL REFERENCES origin,
    notes TEXT NOT NULL,
    text TEXT NOT NULL,
    score REAL NOT NULL,
    terms TEXT NOT NULL,
    shape TEXT NOT NULL,
    name TEXT NOT NULL DEFAULT '',
    stars INTEGER NOT NULL DEFAULT 0 CHECK (stars BETWEEN 0 AND 5),
    note TEXT NOT NULL DEFAULT '',
    last TEXT NOT NULL,
    UNIQUE (progression, onsets, pitches)
);
CREATE INDEX idea_by_last ON idea (last DESC, id);
CREATE TABLE showing (
    idea INTEGER NOT NULL REFERENCES idea ON DELETE CASCADE,
    origin INTEGER NOT NULL REFERENCES origin,
    times INTEGER NOT NULL,
    first TEXT NOT NULL,
    last TEXT NOT NULL,
    PRIMARY KEY (idea, origin)
) WITHOUT ROWID;
CREATE INDEX showing_by_origin ON showing (origin, idea);
CREATE TABLE tag (
    word TEXT NOT NULL,
    idea INTEGER NOT NULL REFERENCES idea ON DELETE CASCADE,
    PRIMARY KEY (word, idea)
) WITHOUT ROWID;
CREATE INDEX tag_by_idea ON tag (idea);
"""

_SETS = """
CREATE TABLE collection (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE
);
CREATE TABLE member (
    collection INTEGER NOT NULL REFERENCES collection ON DELETE CASCADE,
    idea INTEGER NOT NULL REFERENCES idea ON DELETE CASCADE,
    place INTEGER NOT NULL,
    PRIMARY KEY (collection, idea)
) WITHOUT ROWID;
CREATE INDEX member_by_idea ON member (idea);
"""

_LATEST = """
CREATE TABLE latest (
    rank INTEGER PRIMARY KEY,
    idea INTEGER NOT NULL REFERENCES idea ON DELETE CASCADE
);
CREATE INDEX latest_by_idea ON latest (idea);
"""

_ASIDE = """
CREATE TABLE aside (
    idea INTEGER PRIMARY KEY REFERENCES idea ON DELETE CASCADE
);
"""

STEPS = (_IDEAS, _SETS, _LATEST, _ASIDE)
"""What each version of the book adds to the one before, in SQL: ideas, sets of ideas, the ranks of what was shown last,
ideas whose stars don't count for the player's taste."""
LATEST = len(STEPS)
"""The version of a book that this program writes."""


def statements(version: int) -> list[str]:
    """The statements that bring a book of a version to the latest.

    >>> len(statements(LATEST)), statements(1)[0].split()[:3]
    (0, ['CREATE', 'TABLE', 'collection'])
    """
    return _split(STEPS[version:])


def whole(version: int) -> list[str]:
    """The statements that make an empty book of a version.

    >>> whole(LATEST) == statements(0), len(whole(0))
    (True, 0)
    """
    return _split(STEPS[:version])


def _split(steps: Iterable[str]) -> list[str]:
    return [each.strip() for step in steps for each in step.split(";") if each.strip()]
