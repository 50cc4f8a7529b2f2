"""Ideas that were never shown before, in any key or octave, and how many are left."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fillgen.book import fingerprint
from fillgen.book.door import Book
from fillgen.book.fingerprint import Heights
from fillgen.chart.progression import Progression
from fillgen.dice import Dice
from fillgen.engine.generate import FEW, Candidates, Engine, PhraseSpace, generate
from fillgen.engine.plans import Rhythm_
from fillgen.engine.request import Request
from fillgen.errors import NoPhraseError, many
from fillgen.phrase.idea import Ideas
from fillgen.phrase.remark import Remark, RemarkKind

_ROUND = 1000
"""After this many ideas over a progression the draws begin from another seed: the best of the first are used up."""
_ROUNDS = 4
"""How often to draw if the choice among fresh candidates is small."""
_MOST_ROUNDS = 24
"""How often to draw if there are fewer fresh candidates than requested ideas."""
_SAME = 3
"""Stop drawing after this many rounds without a new rhythm."""
_CHOICE = 8
"""Fresh candidates wanted per idea to be chosen."""
_LISTED = 100_000
"""If draws bring too few and there are at most this many phrases, all of them are examined."""
_STRIDE = 1_000_003
"""Between the seeds of one round and the next."""


@dataclass(frozen=True)
class Shown:
    """What was shown over a progression: how many ideas, and those of a rhythm as rows of heights."""

    count: int
    rows: Callable[[Rhythm_], Heights]


def shown(book: Book, progression: Progression) -> Shown:
    """What a book knows of a progression, in any key."""
    found = book.one("SELECT id FROM progression WHERE digest = ?", [fingerprint.degrees(progression)])
    which = -1 if found is None else found[0]
    ((count,),) = book.rows("SELECT count(*) FROM idea WHERE progression = ?", [which])

    def rows(rhythm: Rhythm_) -> Heights:
        question = "SELECT pitches FROM idea WHERE progression = ? AND onsets = ?"
        known = book.rows(question, [which, fingerprint.onsets(rhythm)], (bytes,))
        return fingerprint.unpacked([pitches for (pitches,) in known], len(rhythm))

    return Shown(int(count), rows)


def fresh(request: Request, known: Shown) -> Ideas:
    """The ideas for a request, all new; a remark says how many phrases are left.

    With nothing known they are those that `generate` gives. Raises NoPhraseError if no fresh idea is found, and
    whatever `generate` raises.

    >>> from fillgen.chart.text import parse_chart
    >>> request = Request(parse_chart("| Dm | Bb | Gm7 | A7 |"), count=3)
    >>> nothing = Shown(0, lambda rhythm: np.zeros((0, len(rhythm)), dtype=np.int16))
    >>> fresh(request, nothing).ideas == generate(request).ideas
    True
    """
    sieve = _Sieve(request, known)
    found = generate(replace(request, seed=_seed(request.seed, sieve.first)), sieve)
    phrases = sum(space.count for space in sieve.spaces.values())
    remarks = [remark for remark in found.remarks if remark.kind != RemarkKind.ALL_GIVEN]
    left = Remark(RemarkKind.MEMORY, _left(sieve.left(found), sieve.held))
    returning = sum(bool(space.plan.passages) for space in sieve.spaces.values())
    return replace(
        found,
        seed=request.seed,
        phrases=phrases,
        remarks=(*remarks, left),
        rhythms=len(sieve.spaces),
        returning=returning,
    )


def _left(left: int, held: int) -> str:
    """A remark on what was shown before and what is left.

    Both count phrases in the requested range, over the rhythms that came up; a range cuts another key
    differently, and another draw has other rhythms, so that neither follows from the degrees alone.
    """
    if held:
        were = f"{many(held, 'phrase')} over these rhythms {'was' if held == 1 else 'were'} {_BEFORE}"
    else:
        were = "No phrase over these rhythms was shown before"
    rest = f"{many(left, 'phrase')} {'is' if left == 1 else 'are'}" if left else "none is"
    return f"{were}; in this key and range {rest} left that would be new in every octave."


_BEFORE = "shown before, in this octave and key or another"


def _seed(seed: int, number: int) -> int:
    return seed + _STRIDE * number


class _Sieve:
    """Gathers the candidates that are not known, from as many draws as it takes."""

    def __init__(self, request: Request, known: Shown) -> None:
        self.request = request
        self.known = known
        self.first = known.count // _ROUND
        self.spaces: dict[Rhythm_, PhraseSpace] = {}
        self.held = 0
        self.same = 0
        self._rows: dict[Rhythm_, Heights] = {}
        self._seen: dict[Rhythm_, set[bytes]] = {}
        self._tonic = request.progression.key.tonic.pitch_class

    def __call__(
        self, engine: Engine, found: Sequence[PhraseSpace], phrases: int, dice: Dice
    ) -> list[Candidates]:
        """The candidates of some spaces that are fresh; of more spaces where these are too few."""
        self.engine = engine
        self._enter(found)
        groups = self._fresh(engine.candidates(found, phrases, dice))
        for number in range(1, _MOST_ROUNDS):
            few = self.request.count * (_CHOICE if number < _ROUNDS else 1)
            if _size(groups) >= few or self.same >= _SAME:
                break
            groups += self._round(number)
        if _size(groups) < self.request.count:
            groups += self._every(dice)
        if not groups:
            raise self._nothing()
        return groups

    def _round(self, number: int) -> list[Candidates]:
        """The fresh candidates of another seed."""
        dice = Dice(_seed(self.request.seed, self.first + number))
        found = self.engine.spaces(dice)
        new = [space for space in found if space.plan.rhythm not in self.spaces]
        self._enter(new)
        self.same = 0 if new else self.same + 1
        taken = found if sum(space.count for space in found) > FEW else new
        return self._fresh(self.engine.candidates(taken, sum(s.count for s in taken), dice)) if taken else []

    def _every(self, dice: Dice) -> list[Candidates]:
        """All fresh phrases of the spaces met so far, where these can be listed."""
        phrases = sum(space.count for space in self.spaces.values())
        if phrases > _LISTED:
            return []
        few = 0  # what is few is listed in full, and these are to be listed
        return self._fresh(self.engine.candidates(list(self.spaces.values()), few, dice))

    def _enter(self, spaces: Sequence[PhraseSpace]) -> None:
        self.spaces |= {space.plan.rhythm: space for space in spaces}

    def _known(self, rhythm: Rhythm_) -> Heights:
        if rhythm not in self._rows:
            self._rows[rhythm] = self.known.rows(rhythm)
        return self._rows[rhythm]

    def _fresh(self, groups: Sequence[Candidates]) -> list[Candidates]:
        kept = [group.rows(self._mask(group)) for group in groups]
        return [group for group in kept if len(group.scores)]

    def _mask(self, group: Candidates) -> NDArray[np.bool_]:
        """Which candidates are neither known nor met before."""
        rhythm = group.plan.rhythm
        if rhythm not in self._seen:
            self._seen[rhythm] = set(fingerprint.packed(self._known(rhythm)))
        seen = self._seen[rhythm]
        mask = np.zeros(len(group.scores), dtype=bool)
        for row, own in enumerate(fingerprint.packed(fingerprint.heights(group.pitches, self._tonic))):
            if own not in seen:
                seen.add(own)
                mask[row] = True
        return mask

    def _nothing(self) -> NoPhraseError:
        phrases = sum(space.count for space in self.spaces.values())
        left = phrases - sum(
            held(self.engine, space, self._known(rhythm)) for rhythm, space in self.spaces.items()
        )
        hint = "Ask for another level, rhythm, shape, range or --busy, or forget some ideas with fillgen book forget."
        if left:
            message = f"no fresh idea came up, though {many(left, 'phrase')} of the rhythms drawn from "
            return NoPhraseError(
                f"{message}{'is' if left == 1 else 'are'} left", hint=f"Try another --seed. {hint}"
            )
        which = f"all {many(phrases, 'phrase')} over the {many(len(self.spaces), 'rhythm')} that came up"
        return NoPhraseError(f"no fresh idea is left: {which} were {_BEFORE}", hint=hint)

    def left(self, given: Ideas) -> int:
        """How many phrases of all spaces are left when some ideas have been shown; counts what was held before."""
        new: dict[Rhythm_, list[list[int]]] = {}
        for idea in given:
            rhythm = tuple((note.onset, note.length) for note in idea.phrase)
            new.setdefault(rhythm, []).append([note.midi for note in idea.phrase])
        left = 0
        for rhythm, space in self.spaces.items():
            before = held(self.engine, space, self._known(rhythm))
            self.held += before
            now = np.array(new.get(rhythm, []), dtype=np.int16).reshape(-1, len(rhythm))
            left += space.count - before - held(self.engine, space, fingerprint.heights(now, self._tonic))
        return left


def _size(groups: Sequence[Candidates]) -> int:
    return sum(len(group.scores) for group in groups)


def held(engine: Engine, space: PhraseSpace, rows: Heights) -> int:
    """How many phrases of a space are the same ideas as some rows of heights, in whatever octave.

    Exact: each row is looked up in the tables at which the lattice joins, at every octave.
    """
    if not len(rows):
        return 0
    tonic = engine.progression.key.tonic.pitch_class
    low, high = engine.choices.low - tonic, engine.choices.high - tonic
    octaves = range((low - 11) // 12, high // 12 + 1)
    return sum(int(space.holds(rows + np.int16(tonic + 12 * octave)).sum()) for octave in octaves)
