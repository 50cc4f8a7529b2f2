"""An example or two for each command, as its help shows them; the tests run them in this order."""

from __future__ import annotations

from collections.abc import Mapping

EXAMPLES: Mapping[str, tuple[str, ...]] = {
    "ideas": (
        'fillgen ideas "| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |" --rhythm foxtrot',
        'fillgen ideas "| A | F#m | D | E7 |" --for intro --lead-to E5 -o intro.mid',
    ),
    "vary": (
        "fillgen vary 2 --last --keep 1,2",
        'fillgen vary "| Bb | F7 |" "D5q C5e Bb4e F4h | A4q C5q F5h" --answer',
    ),
    "check": (
        'fillgen check "| Bb | F7 |" "D5q C5e Bb4e F4h | A4q C5q F5h" --level auto',
        "fillgen check song.txt phrase.mid --explain",
    ),
    "sequences": (
        "fillgen sequences --for turnaround --to Fm7",
        'fillgen sequences --changes "| F | Am | Bb | C |"',
    ),
    "notes": (
        'fillgen notes "| Em7b5 | A7 |"',
        'fillgen notes "| Gm | Eb | Cm7 | D7 |" -o notes.pdf',
    ),
    "voicings": (
        'fillgen voicings "| Gm | Eb | Cm7 | D7 |"',
        'fillgen voicings "| Gm | Eb | Cm7 | D7 |" --thin --hand small -o left.pdf',
    ),
    "practice": (
        'fillgen practice "| Am7 | D7 | Gm7 | C7 |" --rhythm swing -o loop.mid',
        'fillgen practice "| Am7 | D7 | Gm7 | C7 |" --levels 1,2 -o lesson.pdf',
    ),
    "play": (
        'fillgen play "| Cm7 | F7 | Bb | Bb |" --for ending --count-in',
        "fillgen play 3 --last --loop 0",
    ),
    "listen": ('fillgen listen "| Gm7 | C7 | F | F |" --tempo 84 --level auto',),
    "ports": ("fillgen ports",),
    "tune": (
        "fillgen tune song.musicxml --intro 4 --ending 4 -o whole.mid",
        "fillgen tune song.musicxml --fills --busy few -o whole.pdf",
    ),
    "batch": (
        "fillgen batch songs -o results --count 10",
        "fillgen batch songs -o intros --for intro --format mid",
    ),
    "book": (
        "fillgen book --stars 1 --rhythm waltz",
        "fillgen book star --last 1,3",
    ),
    "book show": ("fillgen book show 3",),
    "book star": ("fillgen book star 3", "fillgen book star --last 1,4 --stars 2"),
    "book tag": ("fillgen book tag gig --last 1,4",),
    "book note": ('fillgen book note 3 "Good before the bridge"',),
    "book rename": ('fillgen book rename 3 "Lantern walk"',),
    "book set": ('fillgen book set "Tuesday lesson" 4 1 -o tuesday.pdf',),
    "book export": ("fillgen book export 1,3 --key F -o two.mid", "fillgen book export --all -o mine.json"),
    "book import": ("fillgen book import mine.json",),
    "book merge": ("fillgen book merge band.book",),
    "book forget": ("fillgen book forget 2",),
    "book taste": ("fillgen book taste",),
    "book check": ("fillgen book check",),
    "page": (
        "fillgen page",
        'fillgen page "| Bb | Gm7 | Cm7 | F7 |"',
        "fillgen page --desktop",
    ),
    "rules": (
        'fillgen rules "bossa nova"',
        "fillgen rules --check my-rules.toml",
    ),
    "help": (
        "fillgen help charts",
        "fillgen help",
    ),
}
"""By the words that call a command."""
