"""Valid files changed many thousand times, and what the readers make of them: `python -m tests.bench.mutations [--number N]`.

The files are small ones of our own, and real tunes of music21's corpus: folk songs and airs in ABC (Essen, Aird, O'Neill,
Nottingham), and the same written out as MusicXML and MIDI by music21. Where atheris is installed (in the extra `bench`),
files that reach something new are changed further; without it each is a change of a whole file.
"""

from __future__ import annotations

import argparse
import atexit
import contextlib
import importlib
import json
import os
import random
import signal
import sys
import tempfile
import warnings
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from types import ModuleType
from typing import Any

import coverage
import music21

from tests.bench.surroundings import figure, told
from tests.mutation import LARGEST, mutated

NUMBER = 50_000
TUNES = 8
"""So many real tunes of each collection are changed."""
_COLLECTIONS = ("essenFolksong", "airdsAirs", "oneills1850", "nottingham-dataset")
_SCORES = ("leadSheet/fosterBrownHair.mxl",)
_LONGEST_TUNE = 1500
"""The most characters of a real tune; longer ones take long without telling more."""
READERS = ("readers/*", "chart/text.py", "phrase/text.py", "rules/pack.py", "book/exchange.py", "book/validity.py", "book/door.py",
           "sound/playback.py")  # fmt: skip
"""The modules that read files, of which the branches gone through are counted."""
_MOST_SECONDS = 60
"""The computing time after which reading a file is given up, and counted as wrong."""


def guide() -> Any:
    """The module that guides by coverage, None where it is not installed."""
    try:
        return importlib.import_module("atheris")
    except ImportError:
        return None


def real_files() -> dict[str, list[bytes]]:
    """Real tunes by kind, read where music21 keeps them."""
    corpus = Path(music21.__file__).parent / "corpus"
    found: dict[str, list[bytes]] = {"abc": [], "musicxml": [], "midi": [], "mxl": []}
    found["mxl"] = [(corpus / name).read_bytes() for name in _SCORES]
    for collection in _COLLECTIONS:
        found["abc"] += _tunes(sorted((corpus / collection).glob("*.abc")))[:TUNES]
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for number, text in enumerate(found["abc"]):
            with contextlib.suppress(music21.exceptions21.Music21Exception, ValueError):
                score = music21.converter.parseData(text.decode(), format="abc")
                for kind, ending in (("musicxml", "musicxml"), ("midi", "mid")):
                    path = Path(folder, f"{number}.{ending}")
                    score.write(kind, path)
                    found[kind].append(path.read_bytes())
    return found


def _tunes(paths: Sequence[Path]) -> list[bytes]:
    """The first short tune of each file of a collection."""
    found = []
    for path in paths[:: max(1, len(paths) // TUNES)]:
        tunes = path.read_text(encoding="utf-8", errors="replace").split("\nX:")
        short = (
            f"X:{tune.removeprefix('X:')}" for tune in tunes if "K:" in tune and len(tune) < _LONGEST_TUNE
        )
        found += [tune.encode() for tune in list(short)[:TUNES]]
    return found


class SlowError(Exception):
    """Reading a file takes too long."""


def _give_up(*_: object) -> None:
    raise SlowError


class Tally:
    """What became of the mutated files, by kind and reader."""

    def __init__(self, readings: ModuleType, folder: Path, number: int) -> None:
        self.readings, self.folder, self.number = readings, folder, number
        self.counts: Counter[tuple[str, str, str]] = Counter()
        self.files: Counter[str] = Counter()
        self.wrong: dict[str, tuple[str, bytes]] = {}

    def take(self, kind: str, data: bytes) -> None:
        """Count what the readers make of a file; what is wrong is kept once for each place it comes from."""
        self.files[kind] += 1
        signal.setitimer(signal.ITIMER_VIRTUAL, _MOST_SECONDS)
        for name, verdict in self.readings.verdicts(kind, data, self.folder):
            self.counts[kind, name, "wrong" if verdict.wrong else "read" if verdict.read else "refused"] += 1
            if verdict.wrong and f"{name}: {verdict.wrong[:80]}" not in self.wrong:
                self.wrong[f"{name}: {verdict.wrong[:80]}"] = (verdict.wrong, data)
                print(f"WRONG {kind}, {name}: {verdict.wrong}\n{data[:2000]!r}", flush=True)
        if (done := self.files.total()) % 1000 == 0:
            print(f"{done:,} of {self.number:,}", file=sys.stderr, flush=True)

    def table(self) -> None:
        """Print the counts by reader, and all of them as figures."""
        print("\n| files | of them | reader | read | refused | wrong |\n|---|---:|---|---:|---:|---:|")
        for kind, each in self.readings.KINDS.items():
            for number, reader in enumerate(each.readers):
                name = self.readings.name_of(reader)
                cells = [self.counts[kind, name, verdict] for verdict in ("read", "refused", "wrong")]
                head = f"{kind} | {self.files[kind]:,}" if not number else " | "
                print(f"| {head} | {name} | {' | '.join(f'{cell:,}' for cell in cells)} |")
        wrong = sum(count for (*_, verdict), count in self.counts.items() if verdict == "wrong")
        for verdict in ("read", "refused"):
            share = sum(count for (*_, what), count in self.counts.items() if what == verdict)
            figure(f"mutated files: {verdict}, of all readings", f"{share / max(1, self.counts.total()):.0%}")
        done = self.files.total()
        figure("mutated files", f"{done:,}", f"{self.number:,}", done >= self.number)
        figure(
            "readings that ended otherwise than with a result or a clear line", f"{wrong:,}", "0", not wrong
        )


def covered(count: coverage.Coverage) -> None:
    """Print how many branches of the readers were gone through."""
    count.stop()
    with tempfile.TemporaryDirectory() as folder:
        include = [f"*/fillgen/{name}" for name in READERS]
        path = Path(folder, "covered.json")
        with contextlib.redirect_stdout(None):
            count.json_report(include=include, outfile=str(path))
        totals: Mapping[str, float] = json.loads(path.read_text(encoding="utf-8"))["totals"]
    branches = 100 * totals["covered_branches"] / totals["num_branches"]
    lines = 100 * totals["covered_lines"] / totals["num_statements"]
    figure("branches of the readers gone through (lines)", f"{branches:.1f} % ({lines:.1f} %)")


def kinds_of(readings: ModuleType, number: int) -> list[str]:
    """The kind of each file, in an order drawn once."""
    kinds = [kind for kind, each in readings.KINDS.items() for _ in range(number * each.share // 100)]
    kinds += ["midi"] * (number - len(kinds))
    random.Random(number).shuffle(kinds)
    return kinds


def blind(tally: Tally, whole: Mapping[str, Sequence[bytes]]) -> None:
    """Change whole files, one after another."""
    for number, kind in enumerate(kinds_of(tally.readings, tally.number)):
        tally.take(kind, tally.readings.mutant(kind, number, whole[kind]))


def guided(atheris: Any, tally: Tally, whole: Mapping[str, Sequence[bytes]], end: Callable[[], None]) -> None:
    """Change files that reached something new; the first byte of each says its kind. It ends the process."""
    names = list(whole)

    def one(data: bytes) -> None:
        if len(data) > 1:
            tally.take(names[data[0] % len(names)], data[1:])

    def changed(data: bytes, most: int, seed: int) -> bytes:
        chance = random.Random(seed)
        if (
            len(data) < 2 or chance.random() < 0.5
        ):  # as many of each kind as their shares, whatever is found where
            kind = chance.choice(shares)
            data = chance.choice(whole[kind])
        else:
            kind, data = names[data[0] % len(names)], data[1:]
        return (bytes([names.index(kind)]) + mutated(kind, data, whole[kind], chance))[:most]

    shares = kinds_of(tally.readings, 100)
    corpus = tally.folder.parent / "corpus"
    corpus.mkdir()
    for kind, files in whole.items():
        for number, data in enumerate(files):
            (corpus / f"{kind}-{number}").write_bytes(bytes([names.index(kind)]) + data)
    atexit.register(end)
    runs = (
        tally.number + sum(map(len, whole.values())) + 1
    )  # all files as they are come first, and an empty one
    limits = (f"-atheris_runs={runs}", f"-max_len={LARGEST}", "-len_control=0", "-timeout=600", "-rss_limit_mb=0", f"-seed={tally.number}",
              "-verbosity=0")  # fmt: skip
    atheris.Setup([sys.argv[0], *limits, str(corpus)], one, custom_mutator=changed)
    atheris.Fuzz()


def main() -> None:
    """Print the table; end with 1 where anything got out."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--number", type=int, default=NUMBER)
    asked.add_argument("--blind", action="store_true", help="do without atheris")
    given = asked.parse_args()
    atheris = None if given.blind else guide()
    print(told(["atheris", "music21", "mido"]))
    print(
        "guided by coverage" if atheris else "not guided: atheris is not installed or not asked for",
        flush=True,
    )
    count = coverage.Coverage(data_file=None, branch=True, source=["fillgen"], config_file=False)
    count.start()
    inside = atheris.instrument_imports(include=["fillgen"]) if atheris else contextlib.nullcontext()
    with inside:
        readings = importlib.import_module("tests.readings")
    real = real_files()
    whole = {kind: [*readings.seeds(kind), *real.get(kind, [])] for kind in readings.KINDS}
    print(", ".join(f"{len(files)} {kind}" for kind, files in whole.items()), flush=True)
    signal.signal(signal.SIGVTALRM, _give_up)
    folder = tempfile.TemporaryDirectory()
    (place := Path(folder.name, "files")).mkdir()
    tally = Tally(readings, place, given.number)

    def end() -> None:
        covered(count)
        tally.table()
        folder.cleanup()
        if tally.wrong:
            sys.stdout.flush()
            os._exit(1)  # what guides ends the process with 0 itself

    if atheris:
        guided(atheris, tally, whole, end)
    blind(tally, whole)
    end()


if __name__ == "__main__":
    main()
