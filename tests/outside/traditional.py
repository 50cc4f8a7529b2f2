"""Twelve traditional tunes over their usual chords, as charts and phrases.

Nursery songs, folk songs, a hymn and a carol, all long in the public domain. Melodies and chords are written down from
memory, as they are commonly sung and harmonized; each is a strain or two of its tune.
"""

from __future__ import annotations

from dataclasses import dataclass

from fillgen import Phrase, Progression, parse_chart, parse_phrase


@dataclass(frozen=True)
class Traditional:
    """A tune: its key, its metre, its chords as a chart and its melody as a phrase."""

    key: str
    metre: str
    chart: str
    phrase: str

    def parsed(self) -> tuple[Progression, Phrase]:
        """The chart and the phrase as fillgen reads them."""
        progression = parse_chart(self.chart, key=self.key, metre=self.metre)
        return progression, parse_phrase(self.phrase, progression.metre)


TUNES = {
    "Ah! vous dirai-je, maman": Traditional(
        "F",
        "4/4",
        "| F | Bb F | C7 F | C7 F | F Bb | F C7 | F Bb | F C7 | F | Bb F | C7 F | C7 F |",
        "F4q F4q C5q C5q | D5q D5q C5h | Bb4q Bb4q A4q A4q | G4q G4q F4h | "
        "C5q C5q Bb4q Bb4q | A4q A4q G4h | C5q C5q Bb4q Bb4q | A4q A4q G4h | "
        "F4q F4q C5q C5q | D5q D5q C5h | Bb4q Bb4q A4q A4q | G4q G4q F4h",
    ),
    "Frère Jacques": Traditional(
        "G",
        "4/4",
        "| G | G | G | G | G | G | G | G |",
        "G4q A4q B4q G4q | G4q A4q B4q G4q | B4q C5q D5h | B4q C5q D5h | "
        "D5e E5e D5e C5e B4q G4q | D5e E5e D5e C5e B4q G4q | G4q D4q G4h | G4q D4q G4h",
    ),
    "Yankee Doodle": Traditional(
        "G",
        "2/4",
        "| G | G D7 | G | D7 | G | C | D7 | G | C | C | G | G | C | C | G D7 | G |",
        "G4e G4e A4e B4e | G4e B4e A4e D4e | G4e G4e A4e B4e | G4q F#4q | "
        "G4e G4e A4e B4e | C5e B4e A4e G4e | F#4e D4e E4e F#4e | G4q G4q | "
        "E4e. F#4s E4e D4e | E4e F#4e G4q | D4e. E4s D4e C4e | B3q D4q | "
        "E4e. F#4s E4e D4e | E4e F#4e G4e E4e | D4e G4e F#4e A4e | G4q G4q",
    ),
    "Greensleeves": Traditional(
        "E minor",
        "6/8",
        "| Em | Em | D | Em | B7 | Em | D | Em B7 | Em | G | D | Em | B7 | G | D | Em B7 | Em |",
        "rq. rq E4e | G4q A4e B4e. C#5s B4e | A4q F#4e D4e. E4s F#4e | G4q E4e E4e. D#4s E4e | F#4q D#4e B3q E4e | "
        "G4q A4e B4e. C#5s B4e | A4q F#4e D4e. E4s F#4e | G4e. F#4s E4e D#4e. C#4s D#4e | E4q. E4q. | "
        "D5q. D5e. C#5s B4e | A4q F#4e D4e. E4s F#4e | G4q E4e E4e. D#4s E4e | F#4q D#4e B3q. | "
        "D5q. D5e. C#5s B4e | A4q F#4e D4e. E4s F#4e | G4e. F#4s E4e D#4e. C#4s D#4e | E4q. E4q.",
    ),
    "Scarborough Fair": Traditional(
        "E minor",
        "3/4",
        "| Em | Em | D | Em | G | Em | G A / | Em |",
        "E4h E4q | B4h B4q | F#4q. G4e F#4q | E4h. | rq B4q D5q | E5h D5q | B4q C#5q A4q | B4h.",
    ),
    "New Britain (Amazing Grace)": Traditional(
        "Ab",
        "3/4",
        "| Ab | Ab | Ab7 | Db | Ab | Ab | Ab | Eb7 | Eb7 | Ab | Ab7 | Db | Ab | Fm | Eb7 | Ab | Ab |",
        "rh Eb4q | Ab4h C5e Ab4e | C5h Bb4q | Ab4h F4q | Eb4h Eb4q | Ab4h C5e Ab4e | C5h Bb4q | Eb5h. | rh C5q | "
        "Eb5q. C5e Eb5e C5e | Ab4h Eb4q | F4q. Ab4e Ab4e F4e | Eb4h Eb4q | Ab4h C5e Ab4e | C5h Bb4q | Ab4h. | Ab4h.",
    ),
    "Auld Lang Syne": Traditional(
        "Eb",
        "4/4",
        "| Eb | Eb | Bb7 | Eb | Ab | Eb | Bb7 | Ab Bb7 | Eb |",
        "rh rq Bb3q | Eb4q. Eb4e Eb4q G4q | F4q. Eb4e F4q G4q | Eb4q. Eb4e G4q Bb4q | C5h. C5q | "
        "Bb4q. G4e G4q Eb4q | F4q. Eb4e F4q G4q | Eb4q. C4e C4q Bb3q | Eb4h. rq",
    ),
    "London Bridge": Traditional(
        "G",
        "4/4",
        "| G | G | D7 | G | G | G | D7 | G |",
        "D5q. E5e D5q C5q | B4q C5q D5h | A4q B4q C5h | B4q C5q D5h | "
        "D5q. E5e D5q C5q | B4q C5q D5h | A4h D5h | B4q G4h.",
    ),
    "Mary Had a Little Lamb": Traditional(
        "Bb",
        "4/4",
        "| Bb | Bb | F7 | Bb | Bb | Bb | F7 | Bb |",
        "D5q C5q Bb4q C5q | D5q D5q D5h | C5q C5q C5h | D5q F5q F5h | "
        "D5q C5q Bb4q C5q | D5q D5q D5q D5q | C5q C5q D5q C5q | Bb4w",
    ),
    "Au clair de la lune": Traditional(
        "A",
        "4/4",
        "| A | A E7 | A E7 | A | A | A E7 | A E7 | A | E | B7 | E B7 | E | A | A E7 | A E7 | A |",
        "A4q A4q A4q B4q | C#5h B4h | A4q C#5q B4q B4q | A4w | A4q A4q A4q B4q | C#5h B4h | A4q C#5q B4q B4q | A4w | "
        "B4q B4q B4q B4q | F#4h F#4h | B4q A4q G#4q F#4q | E4w | A4q A4q A4q B4q | C#5h B4h | A4q C#5q B4q B4q | A4w",
    ),
    "Tempus adest floridum (Good King Wenceslas)": Traditional(
        "G",
        "4/4",
        "| G | G D | C D7 | G | G | G D | C D7 | G | G D7 | G | C D7 | G | D7 | G D | G D7 | G C | G |",
        "G4q G4q G4q A4q | G4q G4q D4h | E4q D4q E4q F#4q | G4h G4h | "
        "G4q G4q G4q A4q | G4q G4q D4h | E4q D4q E4q F#4q | G4h G4h | "
        "D5q C5q B4q A4q | B4q A4q G4h | E4q D4q E4q F#4q | G4h G4h | "
        "D4q D4q E4q F#4q | G4q G4q A4h | D5q C5q B4q A4q | G4h C5h | G4w",
    ),
    "Drunken Sailor": Traditional(
        "D minor",
        "2/4",
        "| Dm | Dm | C | C | Dm | Dm | C | Dm |",
        "A4e A4s A4s A4e A4s A4s | A4e D4e F4e A4e | G4e G4s G4s G4e G4s G4s | G4e C4e E4e G4e | "
        "A4e A4s A4s A4e A4s A4s | A4e B4e C5e D5e | C5e A4e G4e E4e | D4q D4q",
    ),
}
"""The tunes by their names."""
