"""Faults from outside: killed processes, full disks, closed folders, two processes at once, odd texts and locales.

Whatever happens every file is whole or absent, what was there stays, and the next run clears up.
`python -m tests.bench.batch` kills more processes.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import io
import json
import os
import signal
import subprocess
import sys
import threading
import time
import unicodedata
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import IO, Any

import mido
import pytest

from fillgen.app.batch import INDEX
from fillgen.cli import main
from fillgen.dice import Dice
from fillgen.errors import OutputError
from fillgen.writers import files
from fillgen.writers.files import DRAFT, write_file
from tests.bench.batch import write_charts
from tests.effort import EFFORT, examples

KILLS = examples(20)
CHART = "| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |"
PHRASE = "G4q Bb4q Eb5h | D5q. C5e Bb4h | Ab4q C5q F5h | D5h Bb4h"
QUICK = ("-n", "2", "--level", "1")
RANDOM = ("-n", "2", "--level", "2")
"""For charts made by chance, whose roots alone may be too far apart."""
FILLGEN = (sys.executable, "-m", "fillgen")


def tree(folder: Path) -> dict[str, bytes]:
    """Every file below a folder with its contents, hidden ones too."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def run(*arguments: str, cwd: Path | None = None, **environment: str) -> subprocess.CompletedProcess[str]:
    """A command line in a process of its own."""
    told = {**os.environ, **environment}
    return subprocess.run(
        [*FILLGEN, *arguments], cwd=cwd, env=told, capture_output=True, text=True, check=False
    )


# Killed while writing

WRITER = '''
"""Write for ever, in a process split off for every line of input, and say so after every write."""
import hashlib, os, sys
from pathlib import Path
from fillgen.cli import main
from fillgen.dice import Dice
from fillgen.writers.files import write_file, write_folder

def content(dice):
    body = bytes([65 + dice.below(26)]) * (1 + dice.below(400_000))
    return body + hashlib.blake2b(body).hexdigest().encode()

def write(seed):
    dice, folder = Dice(seed), Path(sys.argv[1])
    while True:
        if seed % 4 == 3:
            try:
                main(["ideas", "| C | G7 |", "-n", "5", "--level", "1", "--overwrite", "-o", f"{folder}/takes/"])
            except SystemExit:
                pass
        elif seed % 4 == 2:
            write_folder(folder / "many", {f"{n}.bin": content(dice) for n in range(4)}, overwrite=True)
        else:
            write_file(folder / f"{dice.below(3)}.bin", content(dice), overwrite=True)
        os.write(1, b"written\\n")  # in one piece, whenever it is killed

sys.stderr = open(os.devnull, "w")
for line in sys.stdin:
    child = os.fork()
    if not child:
        print(os.getpid(), flush=True)
        write(int(line))
    os.waitpid(child, 0)
    print("ended", flush=True)
'''


def is_whole(name: str, content: bytes) -> bool:
    """Whether a file that a writer left is whole."""
    if name.endswith(".mid"):
        return len(mido.MidiFile(file=io.BytesIO(content)).tracks) >= 2
    return hashlib.blake2b(content[:-128]).hexdigest().encode() == content[-128:]


def killed_writers(folder: Path, kills: int) -> int:
    """Kill a writing process so many times, each at another moment; the drafts that were left and cleared."""
    drafts = 0
    (folder / "takes").mkdir()
    (folder / "many").mkdir()
    with _writers(folder) as (seeds, answers):
        for seed in range(kills):
            dice = Dice(seed)
            print(seed, file=seeds, flush=True)
            child = int(answers.readline())
            for _ in range(1 + dice.below(2 if seed % 4 == 3 else 12)):
                assert answers.readline() == "written\n"
            time.sleep(dice.below(1000) / 1000 * (0.1 if seed % 4 == 3 else 0.003))
            os.kill(child, signal.SIGKILL)
            while (answer := answers.readline()) != "ended\n":
                assert answer == "written\n"
            drafts += _checked(folder)
    return drafts


@contextlib.contextmanager
def _writers(folder: Path) -> Iterator[tuple[IO[str], IO[str]]]:
    """Where to write seeds, and where the writers answer. They have no threads, which would not outlive a split."""
    command = [sys.executable, "-c", WRITER, str(folder)]
    told = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=told, start_new_session=True
    ) as running:
        late = threading.Timer(_PATIENCE, os.killpg, (running.pid, signal.SIGKILL))
        late.start()
        try:
            assert running.stdin is not None
            assert running.stdout is not None
            yield running.stdin, running.stdout
        finally:
            late.cancel()


_PATIENCE = 600
"""Seconds after which writers that do not answer are ended, so that a test fails and does not hang."""


def _checked(folder: Path) -> int:
    """Every file is whole or known as a draft, and the next write clears the drafts of its folder."""
    found = tree(folder)
    drafts = [name for name in found if name.endswith(DRAFT)]
    assert [name for name in found if name not in drafts and not is_whole(name, found[name])] == []
    for place in (folder, folder / "takes", folder / "many"):
        body = b"the next run"
        write_file(place / "next.bin", body + hashlib.blake2b(body).hexdigest().encode(), overwrite=True)
    assert [name for name in tree(folder) if name.endswith(DRAFT)] == []
    return len(drafts)


def killed_batches(folder: Path, kills: int) -> int:
    """Kill a batch so many times, every other time with its workers; it goes on each time and ends as if nothing was."""
    charts = folder / "charts"
    write_charts(charts, 8)
    assert run("batch", str(charts), "-o", str(folder / "whole"), *RANDOM).returncode == 0
    whole = tree(folder / "whole")
    drafts = number = 0
    while kills:
        number += 1
        out = folder / f"results-{number}"
        while kills and len(_results(out)) < len(whole) - 4:
            drafts += _killed_batch(charts, out, Dice(kills), alone=kills % 2 == 0)
            kills -= 1
            found = tree(out)
            assert {name: found[name] for name in _results(out)}.items() <= whole.items()
        ended = run("batch", str(charts), "-o", str(out), *RANDOM)
        assert (ended.returncode, ended.stdout) == (0, "")
        assert tree(out) == whole
    return drafts


def _results(out: Path) -> list[str]:
    return [path.relative_to(out).as_posix() for path in out.rglob("*.json") if not path.name.startswith(".")]


def _killed_batch(charts: Path, out: Path, dice: Dice, *, alone: bool) -> int:
    """Kill a batch after a few more results; how many drafts it leaves. All its processes end."""
    command = [*FILLGEN, "batch", str(charts), "-o", str(out), *RANDOM, "--jobs", "2"]
    with subprocess.Popen(command, stderr=subprocess.PIPE, start_new_session=True) as running:
        wanted = len(_results(out)) + dice.below(3)
        while len(_results(out)) < wanted and running.poll() is None:
            time.sleep(0.002)
        time.sleep(dice.below(100) / 1000)
        if alone:
            running.kill()
        else:
            os.killpg(running.pid, signal.SIGKILL)
        running.communicate(timeout=120)  # the workers have this end of the pipe as well, until they are gone
    return sum(name.endswith(DRAFT) for name in tree(out))


def test_killed_writers_leave_whole_files(tmp_path: Path) -> None:
    """A process killed while it writes leaves every file whole, and drafts that the next run clears."""
    killed_writers(tmp_path, KILLS)


def test_killed_batches_go_on(tmp_path: Path) -> None:
    """A batch killed at any moment leaves whole results only, and ends as one that was not killed."""
    killed_batches(tmp_path, max(2, EFFORT))


def test_draft_of_a_living_process_stays(tmp_path: Path) -> None:
    """A draft that is being written is not cleared by another write; one whose process is gone is."""
    (tmp_path / f".left.txt.abc{DRAFT}").write_bytes(b"half")
    (tmp_path / ".other.part").write_bytes(b"not ours")
    with files._draft(tmp_path / "a.txt") as (handle, draft):
        os.write(handle, b"whole")
        os.close(handle)
        write_file(tmp_path / "b.txt", b"b")
        assert sorted(tree(tmp_path)) == sorted([draft.name, ".other.part", "b.txt"])
        draft.replace(tmp_path / "a.txt")
    assert tree(tmp_path) == {".other.part": b"not ours", "a.txt": b"whole", "b.txt": b"b"}


def test_workers_that_are_killed(tmp_path: Path) -> None:
    """A batch whose worker is killed makes its charts by another, and ends well."""
    write_charts(tmp_path / "in", 6)
    command = [*FILLGEN, "batch", "in", "-o", "out", *RANDOM, "--jobs", "2"]
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True, cwd=tmp_path) as running:
        while not _results(tmp_path / "out") and running.poll() is None:
            time.sleep(0.002)
        workers = [child for child in _children(running.pid) if b"spawn_main" in _command(child)]
        for worker in workers[:1]:
            os.kill(worker, signal.SIGKILL)
        _, err = running.communicate(timeout=120)
    assert (running.returncode, err) == (0, "6 written.\n")
    assert len(_results(tmp_path / "out")) == 6


def _children(process: int) -> list[int]:
    found = Path(f"/proc/{process}/task").glob("*/children")
    return [int(child) for listed in found for child in listed.read_text().split()]


def _command(process: int) -> bytes:
    try:
        return Path(f"/proc/{process}/cmdline").read_bytes()
    except OSError:
        return b""


# Disks and folders

COMMANDS: dict[str, tuple[str, ...]] = {
    "text": ("ideas", CHART, *QUICK, "-o", "out/a.txt"),
    "json": ("ideas", CHART, *QUICK, "-o", "out/a.json"),
    "midi": ("ideas", CHART, *QUICK, "-o", "out/a.mid"),
    "folder": ("ideas", CHART, *QUICK, "-o", "out/"),
    "several": ("ideas", CHART, *QUICK, "-o", "out/a.json", "-o", "out/", "-o", "out/a.mid"),
    "vary": ("vary", CHART, PHRASE, "--like", "-n", "1", "-o", "out/a.txt"),
    "practice": ("practice", CHART, "--steps", "2", "-o", "out/a.mid"),
    "batch": ("batch", "in", "-o", "out", *QUICK, "--jobs", "1"),
}


def _fails(number: int) -> Callable[..., Any]:
    def fail(*_: object, **__: object) -> None:
        raise OSError(number, os.strerror(number))

    return fail


def _really_full(**named: Any) -> tuple[int, str]:
    """A draft on the device that is always full; the failure is the kernel's own."""
    name = Path(named["dir"]) / f"{named['prefix']}full{named['suffix']}"
    name.touch()
    return os.open("/dev/full", os.O_WRONLY), str(name)


def _breaks(step: str, number: int) -> Callable[[pytest.MonkeyPatch], None]:
    owner: Any = {"fsync": files.os, "mkstemp": files.tempfile, "replace": Path}[step]
    return lambda patch: patch.setattr(owner, step, _fails(number))


FAULTS: dict[str, tuple[int, Callable[[pytest.MonkeyPatch], None]]] = {
    "full device": (errno.ENOSPC, lambda patch: patch.setattr(files.tempfile, "mkstemp", _really_full)),
    "full at the end": (errno.ENOSPC, _breaks("fsync", errno.ENOSPC)),
    "no more quota": (errno.EDQUOT, _breaks("fsync", errno.EDQUOT)),
    "no rights": (errno.EACCES, _breaks("mkstemp", errno.EACCES)),
    "read only": (errno.EROFS, _breaks("mkstemp", errno.EROFS)),
    "lost disk": (errno.EIO, _breaks("replace", errno.EIO)),
}


@pytest.fixture(name="place")
def _place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a chart, and results of an earlier day."""
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "a.txt").write_text(CHART)
    (tmp_path / "out").mkdir()
    for name in ("a.txt", "a.json", "a.mid", "idea-01.mid", "idea-02.mid"):
        (tmp_path / "out" / name).write_bytes(b"of an earlier day")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def said(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    """What is said of a command that fails with code 2, without what was told before."""
    with pytest.raises(SystemExit) as caught:
        main(arguments)
    assert caught.value.code == 2
    err = capsys.readouterr().err
    assert "Traceback" not in err
    return err


@pytest.mark.parametrize(
    ("what", "fault"),
    [(what, "full device") for what in COMMANDS]
    + [(what, fault) for what in ("text", "folder", "batch") for fault in FAULTS if fault != "full device"],
)
def test_faults_of_the_disk(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, place: Path, what: str, fault: str
) -> None:
    """Where a file cannot be written the reason is told in a line, the old file stays, and no draft is left."""
    before = tree(place)
    number, breaks = FAULTS[fault]
    with monkeypatch.context() as patch:
        breaks(patch)
        err = said(capsys, *COMMANDS[what], "--overwrite")
    assert f"cannot be written: {os.strerror(number)}." in err
    assert len(err.strip().splitlines()) <= 2
    after = tree(place)
    after.pop(f"out/{INDEX}", None)
    assert after == before


def test_disk_that_fills_between_two_outputs(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, place: Path
) -> None:
    """Of several outputs those written before the disk was full are whole, the others are as they were."""
    before, sync, calls = tree(place), os.fsync, iter(range(9))

    def full(handle: int) -> None:
        if next(calls) >= 1:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        sync(handle)

    with monkeypatch.context() as patch:
        patch.setattr(files.os, "fsync", full)
        err = said(capsys, *COMMANDS["several"], "--overwrite")
    assert os.strerror(errno.ENOSPC) in err
    after = tree(place)
    assert json.loads(after.pop("out/a.json"))["ideas"]
    assert after == {name: content for name, content in before.items() if name != "out/a.json"}


LIMITED = """
import resource, sys
resource.setrlimit(resource.RLIMIT_FSIZE, (2000, 2000))
from fillgen.cli import main
main(sys.argv[1:])
"""


@pytest.mark.parametrize("what", ["json", "folder", "batch"])
def test_file_that_may_not_grow(place: Path, what: str) -> None:
    """Where the system stops a file in the middle of a write the old one stays whole, and no draft is left."""
    before = tree(place)
    command = (*("30" if word == QUICK[1] else word for word in COMMANDS[what]), "--overwrite")
    ended = subprocess.run(
        [sys.executable, "-c", LIMITED, *command], capture_output=True, text=True, check=False
    )
    after = tree(place)
    after.pop(f"out/{INDEX}", None)
    small = {name: content for name, content in after.items() if before.get(name) != content}
    if what == "folder":  # small files have room
        assert all(mido.MidiFile(file=io.BytesIO(content)).tracks for content in small.values())
        assert not [name for name in after if name.endswith(DRAFT)]
    else:
        assert small == {}
        assert ended.returncode == 2
        assert f"cannot be written: {os.strerror(errno.EFBIG)}." in ended.stderr


PLACES: dict[str, tuple[str, str]] = {
    # where it is to be written, and what is said
    "file in the way of a folder": ("in/a.txt/", "cannot be made"),
    "file above a folder": ("in/a.txt/takes/", "cannot be made"),
    "long name of a folder": ("x" * 300 + "/", "is not a name for a folder|cannot be made"),
    "file for a folder": ("in/a.txt/x.json", "cannot be written"),
    "no such folder": ("none/x.json", "cannot be written"),
    "long name": ("x" * 300 + ".json", "is not a name for a file|cannot be written"),
    "long path": ("x/" * 3000 + "x.json", "is not a name for a file|cannot be written"),
}


@pytest.mark.parametrize("what", PLACES)
def test_impossible_places(capsys: pytest.CaptureFixture[str], place: Path, what: str) -> None:
    """A name that cannot be written to is told in a line, and nothing is written."""
    before = tree(place)
    output, parts = PLACES[what]
    err = said(capsys, "ideas", CHART, *QUICK, "--overwrite", "-o", output)
    assert any(part in err for part in parts.split("|"))
    assert len(err.strip().splitlines()) == 1
    assert tree(place) == before


def test_closed_folder(capsys: pytest.CaptureFixture[str], place: Path) -> None:
    """A folder without the right to write is told, where the system keeps to it; a superuser may write all the same."""
    (place / "out").chmod(0o555)
    try:
        if os.access(place / "out", os.W_OK):
            with pytest.raises(SystemExit) as caught:
                main(["ideas", CHART, *QUICK, "-o", "out/new.json"])
            assert not caught.value.code
        else:
            assert "Permission denied" in said(capsys, "ideas", CHART, *QUICK, "-o", "out/new.json")
            assert "Permission denied" in said(capsys, *COMMANDS["batch"])
    finally:
        (place / "out").chmod(0o755)


# Two at once


def both(*commands: tuple[str, ...], cwd: Path) -> list[tuple[int, str]]:
    """The exit codes of commands that run at once, and what they say."""
    running = [
        subprocess.Popen(
            [*FILLGEN, *command], cwd=cwd, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        for command in commands
    ]
    return [(each.returncode, err) for each in running for _, err in [each.communicate(timeout=120)]]


def test_two_batches_at_once(tmp_path: Path) -> None:
    """Two batches into one folder: one of them makes it all, and the other finds it made or says who is at work."""
    write_charts(tmp_path / "in", 4)
    command = ("batch", "in", "-o", "out", *RANDOM, "--jobs", "1")
    ended = both(command, command, cwd=tmp_path)
    assert {code for code, _ in ended} <= {0, 2}
    assert all("another fillgen batch is writing to this folder" in err for code, err in ended if code)
    assert run(*command, cwd=tmp_path).stderr == "0 written, 4 there already.\n"


def test_two_folders_of_takes_at_once(tmp_path: Path) -> None:
    """Two commands that write takes into one folder: all are of one of them, and the other says that they are there."""
    commands = [("ideas", CHART, *QUICK, "--seed", seed, "-o", "takes/") for seed in "12"]
    ended = both(*commands, cwd=tmp_path)
    assert sorted(code for code, _ in ended) in ([0, 2], [2, 0])
    assert ["exists already" in err for code, err in ended if code] == [True]
    winner = next(command for command, (code, _) in zip(commands, ended, strict=True) if not code)
    run(*winner[:-1], "alone/", cwd=tmp_path)
    assert tree(tmp_path / "takes") == tree(tmp_path / "alone")


def test_writers_at_once_never_replace(tmp_path: Path) -> None:
    """Of many that write the same new file at once exactly one does, and the file is its own."""
    for number in range(20):
        path, done = tmp_path / f"{number}.txt", []
        start = threading.Barrier(4)

        def write(
            who: int, path: Path = path, done: list[int] = done, start: threading.Barrier = start
        ) -> None:
            start.wait()
            with contextlib.suppress(OutputError):
                write_file(path, bytes([65 + who]) * 5000)
                done.append(who)

        threads = [threading.Thread(target=write, args=(who,)) for who in range(4)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert len(done) == 1
        assert path.read_bytes() == bytes([65 + done[0]]) * 5000


# Locales, line ends, titles and names

BODY = "title: {}\nkey: Eb\n\n| Ebmaj7 | Gm7 C7 |\n| Fm7 | Bb7 |\n"
TEXTS: dict[str, bytes] = {
    "plain.txt": BODY.format("Low Tide").encode(),
    "windows.txt": BODY.format("Low Tide").replace("\n", "\r\n").encode(),
    "old-mac.txt": BODY.format("Low Tide").replace("\n", "\r").encode(),
    "marked.txt": b"\xef\xbb\xbf" + BODY.format("Low Tide").encode(),
    "no end.txt": BODY.format("Low Tide").rstrip().encode(),
    "signs.txt": BODY.format("Low Tide").replace("Ebm", "E♭m").encode(),
}
"""One chart, written in several ways."""
NAMES = (
    "with  spaces.chart",
    'it\'s "quoted" $HOME `x`.chart',
    "-dash.chart",
    "--overwrite.chart",
    "back\\slash *?[a].chart",
    "two\nlines.chart",
    unicodedata.normalize("NFC", "Café Ångström.chart"),
    unicodedata.normalize("NFD", "Café Ångström.chart"),
    "פסנתר 🎹 ピアノ.chart",
    "dotted.İstanbul.ı.chart",
    "100%.chart",
    "a|b.chart",
)
LOCALES: dict[str, dict[str, str]] = {
    "C": {"LC_ALL": "C"},
    "C without UTF-8": {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
    "Turkish": {"LC_ALL": "tr_TR.UTF-8", "LANG": "tr_TR.UTF-8"},
    "ASCII output": {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONIOENCODING": "ascii"},
}


def test_ways_to_write_one_chart(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Line ends of any system, a byte order mark and signs for flats change nothing in what comes out."""
    (tmp_path / "in").mkdir()
    for name, content in TEXTS.items():
        (tmp_path / "in" / name).write_bytes(content)
    for form in ("json", "mid"):
        out = tmp_path / form
        with pytest.raises(SystemExit) as caught:
            main(["batch", str(tmp_path / "in"), "-o", str(out), "--format", form, "--jobs", "1", *QUICK])
        assert not caught.value.code, capsys.readouterr().err
        assert len({path.read_bytes() for path in out.iterdir() if path.name != INDEX}) == 1


@pytest.fixture(name="odd", scope="module")
def _odd(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, bytes], str]:
    """Charts with odd names and titles, their results under a plain locale, and what is said of a bad one."""
    folder = tmp_path_factory.mktemp("odd")
    (folder / "in").mkdir()
    for number, name in enumerate(NAMES):
        (folder / "in" / name).write_text(
            BODY.format(f"{name.strip()[:-6]} {number} \u202eשלום🎶".replace("\n", " "))
        )
    (folder / "in" / "süß.txt").write_text("| C | Hm♭7 |", encoding="utf-8")
    ended = run("batch", "in", "-o", "out", *QUICK, "--jobs", "1", cwd=folder, LC_ALL="C.UTF-8")
    assert ended.returncode == 2
    assert f"{len(NAMES)} written, 1 refused:\n  süß.txt: bar 2, chord 1: " in ended.stderr
    found = tree(folder / "out")
    assert len(found) == len(NAMES) + 1
    return folder, found, ended.stderr


@pytest.mark.costly
@pytest.mark.parametrize("where", LOCALES)
def test_locale_does_not_show(odd: tuple[Path, dict[str, bytes], str], where: str) -> None:
    """Under any locale the same files are read and the same bytes written, index and all, and nothing fails."""
    folder, expected, _ = odd
    out = f"out {where}"
    ended = run("batch", "in", "-o", out, *QUICK, "--jobs", "1", cwd=folder, **LOCALES[where])
    assert ended.returncode == 2
    assert ended.stderr.startswith(f"{len(NAMES)} written, 1 refused:\n")
    assert "Traceback" not in ended.stderr
    assert tree(folder / out) == expected
    again = run("batch", "in", "-o", out, *QUICK, "--jobs", "1", cwd=folder, LC_ALL="C.UTF-8")
    assert again.stderr.startswith(f"0 written, {len(NAMES)} there already, 1 refused:\n")
    name = NAMES[-4]
    one = run("ideas", f"in/{name}", *QUICK, "-o", f"{where}.json", cwd=folder, **LOCALES[where])
    assert one.returncode == 0
    assert (folder / f"{where}.json").read_bytes() == expected[str(Path(name).with_suffix(".json"))]


# Hash seeds

EVERYTHING = f"""
from fillgen.cli import main
CHART, PHRASE, QUICK, RANDOM = {CHART!r}, {PHRASE!r}, {QUICK!r}, {RANDOM!r}
for number, arguments in enumerate([
    ["ideas", CHART, *QUICK, "-o", "ideas.txt"],
    ["ideas", CHART, "-n", "3", "--level", "5", "-o", "ideas.json", "-o", "ideas.html"],
    ["ideas", CHART, *RANDOM, "--for", "intro", "-o", "ideas.mid"],
    ["ideas", CHART, *QUICK, "-o", "takes/"],
    ["ideas", CHART, "-n", "8", "--level", "1", "--shape", "arch", "--low", "C4", "--high", "C5"],
    ["rules"],
    ["rules", "swing"],
    ["vary", CHART, PHRASE, "--keep", "1,2", "-n", "2", "-o", "vary.txt"],
    ["vary", CHART, PHRASE, "--answer", "-n", "2", "-o", "vary.json"],
    ["practice", CHART, "--steps", "2", "-o", "practice.mid", "-o", "practice.svg"],
    ["practice", CHART, "--levels", "1,2", "--per-level", "1", "-o", "lesson.html"],
    ["check", CHART, PHRASE, "-o", "check.txt"],
    ["check", CHART, PHRASE, "--level", "auto", "-o", "check.json"],
    ["batch", "../in", "-o", "batch", *RANDOM, "--jobs", "1"],
    ["batch", "../in", "-o", "batch-midi", "--format", "mid", *RANDOM, "--jobs", "1"],
]):
    try:
        main(arguments)
    except SystemExit as end:
        assert not end.code or arguments[0] == "check", arguments
"""


def test_hash_seed_does_not_show(tmp_path: Path) -> None:
    """Every command prints and writes the same bytes whatever the order of sets in its process."""
    write_charts(tmp_path / "in", 2)
    (tmp_path / "everything.py").write_text(EVERYTHING)
    told: list[tuple[str, Mapping[str, bytes]]] = []
    seeds = ("0", "1", "random") if EFFORT > 1 else ("0", "1")
    for seed in seeds:
        (tmp_path / seed).mkdir()
        seeded = {**os.environ, "PYTHONHASHSEED": seed}
        command = [sys.executable, str(tmp_path / "everything.py")]
        ended = subprocess.run(
            command, cwd=tmp_path / seed, env=seeded, capture_output=True, text=True, check=False
        )
        assert ended.returncode == 0, ended.stderr
        told.append((ended.stdout + ended.stderr, tree(tmp_path / seed)))
    printed, written = told[0]
    assert "level 1" in printed
    assert len(written) == 11 + 2 + 2 * 3
    assert all(each == told[0] for each in told[1:])
    assert json.loads(written["ideas.json"])["ideas"]
