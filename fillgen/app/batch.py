"""Ideas for a whole folder of charts: one result file a chart, made by all cores, taken up again where it was stopped.

A file `fillgen-batch.jsonl` in the folder of results says from what each result was made. A line is added before a result
is begun and another when it is whole, so that whatever stops the program, the next run knows what is left to do.
"""

from __future__ import annotations

import errno
import hashlib
import json
import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Callable, Generator, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass, field, replace
from functools import cached_property
from itertools import islice
from pathlib import Path, PurePath
from types import FrameType

from fillgen.app.charts import progression_of
from fillgen.app.contents import IDEAS, ideas_content, look_of
from fillgen.app.formats import FORMATS, refuse_look
from fillgen.app.options import ChordOptions, IdeaOptions, OutputOptions, PlayOptions, SheetOptions
from fillgen.engine.generate import generate
from fillgen.engine.request import Request, settle
from fillgen.errors import FillgenError, OptionError, OutputError, did_you_mean, shorten
from fillgen.hands.playing import Playing, played_as
from fillgen.incoming import unread
from fillgen.rules.pack import RulePack
from fillgen.version import __version__
from fillgen.writers.files import clear_drafts, make_folder, put_file
from fillgen.writers.look import USUAL

CHARTS = (".txt", ".chart", ".chords")
"""How the names of chart files end."""
INDEX = "fillgen-batch.jsonl"
_HEAD = {"fillgen-batch": 1}
MOST_JOBS = 256
_AHEAD = 64
"""How many results are entered in the index at once before they are begun."""
_MOST_DEATHS = 8
"""After so many charts whose process died the machine is taken to be at fault, not the charts."""
_NO_ROOM = {errno.ENOSPC, errno.EDQUOT, errno.EROFS, errno.EIO}
"""Failures to write that meet every file alike."""


@dataclass(frozen=True)
class Order:
    """What is asked for over each chart of a folder; `form` is an ending of `fillgen.app.formats`, such as `json`.

    `chords` say how each chart is read, and have no chart of their own. OptionError where anything isn't offered.
    """

    options: IdeaOptions = field(default_factory=IdeaOptions)
    pack: RulePack = field(default_factory=RulePack)
    chords: ChordOptions = field(default_factory=ChordOptions)
    playing: PlayOptions = field(default_factory=PlayOptions)
    look: SheetOptions = USUAL
    form: str = "json"

    def __post_init__(self) -> None:
        forms = [ending[1:] for ending, kind in FORMATS.items() if kind.can_hold(frozenset(IDEAS))]
        if self.form not in forms:
            raise OptionError(f"unknown format {shorten(self.form)}", hint=did_you_mean(self.form, forms))
        if not FORMATS[self.ending].is_sheet(frozenset(IDEAS)):
            refuse_look(self.look)
        chart = replace(self.chords, chart="| I |", key=self.chords.key or "C")
        settle(Request.over(progression_of(chart), self.options, self.pack))
        self._played()

    @property
    def ending(self) -> str:
        """How the names of result files end."""
        return f".{self.form}"

    def _played(self) -> tuple[Playing, dict[str, str]]:
        return played_as(self.playing, self.pack, purpose=self.options.purpose, hand=self.options.hand)

    @cached_property
    def digest(self) -> str:
        """A fingerprint of all that a result depends on besides its chart."""
        groups = (self.chords, self.options, self.playing, self.look)
        settings = {type(group).__name__: asdict(group) for group in groups}
        document = {"version": __version__, "form": self.form, "pack": self.pack.digest, **settings}
        return digest(json.dumps(document, sort_keys=True).encode())

    def result(self, text: str) -> bytes:
        """The result for a chart text; FillgenError where there is none."""
        progression = progression_of(replace(self.chords, chart=text), self.options.rhythm, self.pack)
        found = generate(Request.over(progression, self.options, self.pack))
        playing, sounds = self._played()
        look = look_of(self.look, self.playing, playing)
        return FORMATS[self.ending].write(
            ideas_content(found, playing, sounds, look), OutputOptions(voices="own")
        )


def digest(content: bytes) -> str:
    """A fingerprint of some bytes, 32 hexadecimal digits.

    >>> digest(b"| C |")
    '5cb3c739320aab90041af5aac6f0f03b'
    """
    return hashlib.blake2b(content, digest_size=16).hexdigest()


# Charts and results


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a chart: its name, whether its result is `made`, was `kept` as it is, or `refused` and why."""

    name: str
    state: str
    message: str = ""
    holds: str = ""
    ends_all: bool = False

    def __str__(self) -> str:
        """The name, and the message where there is one, in one line."""
        name = self.name if self.name.isprintable() else repr(self.name)
        return f"{name}: {' '.join(self.message.split())}" if self.message else name


@dataclass(frozen=True, slots=True)
class Job:
    """A result to be made: the name of the chart, its text, the result file, and whether an older one is replaced."""

    name: str
    text: str
    target: Path
    replaces: bool


def chart_files(folder: Path, besides: Path | None = None) -> tuple[list[str], list[Outcome]]:
    """The charts of a folder and those below it, as names relative to it with `/`, in order; and what is refused.

    Hidden files and folders are passed over, and so is the folder `besides`. OutputError where the folder is none.
    """
    if not folder.is_dir():
        what = "is a file, not a folder" if folder.exists() else "no such folder"
        raise OutputError(what, place=str(folder), hint="Give a folder of chart files.")
    names: list[str] = []
    closed: list[Outcome] = []

    def unreadable(error: OSError) -> None:
        name = PurePath(error.filename).relative_to(folder).as_posix()
        closed.append(Outcome(name, "refused", f"cannot be read: {error.strerror or error}."))

    skipped = besides.resolve() if besides is not None else None
    for here, folders, files in os.walk(folder, onerror=unreadable):
        at = Path(here)
        folders[:] = [name for name in folders if name[0] != "." and (at / name).resolve() != skipped]
        found = [at / name for name in files if name[0] != "." and PurePath(name).suffix.lower() in CHARTS]
        names += [path.relative_to(folder).as_posix() for path in found if path.is_file()]
    return sorted(names, key=os.fsencode), closed


class Index:
    """What a folder of results holds and what it was made from, added to line by line and locked while it is open.

    An entry is the digests of chart and order, and that of the result, which is empty while the result is being made.
    Lines that cannot be read, such as one that a kill has torn, are passed over. OutputError where another batch
    writes to the folder.
    """

    def __init__(self, folder: Path) -> None:
        self.path = folder / INDEX
        self.entries: dict[str, tuple[str, str, str]] = {}
        try:
            self._open()
            content = self.path.read_bytes()
        except OSError as error:
            raise OutputError(f"cannot be used: {error.strerror or error}", place=str(self.path)) from error
        head = (json.dumps(_HEAD) + "\n").encode()
        if content and not content.startswith(head) and not head.startswith(content):
            raise OutputError("wasn't made by fillgen batch", place=str(self.path), hint="Move it elsewhere.")
        for line in content.splitlines():
            self._read(line)
        if not content.startswith(head):
            self._write(b"\n" + head if content else head)
        elif not content.endswith(b"\n"):
            self._write(b"\n")

    def _open(self) -> None:
        """Open and lock the file, anew where it was replaced in between."""
        flags = os.O_RDWR | os.O_CREAT | os.O_APPEND | getattr(os, "O_BINARY", 0)
        while True:
            self._handle = os.open(self.path, flags, 0o666)
            if not _lock(self._handle):
                os.close(self._handle)
                hint = "Wait until it ends, or give another folder."
                raise OutputError(
                    "another fillgen batch is writing to this folder", place=str(self.path.parent), hint=hint
                )
            with suppress(OSError):
                if os.path.samestat(os.fstat(self._handle), self.path.stat()):
                    return
            os.close(self._handle)

    def _read(self, line: bytes) -> None:
        with suppress(ValueError, KeyError, TypeError):
            entry = json.loads(line)
            self.entries[str(entry["result"])] = (
                str(entry["chart"]),
                str(entry["order"]),
                str(entry["holds"]),
            )

    def add(self, entries: Iterable[tuple[str, tuple[str, str, str]]], *, firmly: bool = False) -> None:
        """Enter results by name; `firmly` so that they outlast a loss of power."""
        added = dict(entries)
        self.entries |= added
        self._write("".join(_line(name, entry) for name, entry in added.items()).encode(), firmly=firmly)

    def _write(self, content: bytes, *, firmly: bool = False) -> None:
        try:
            while content:
                content = content[os.write(self._handle, content) :]
            if firmly:
                os.fsync(self._handle)
        except OSError as error:
            raise OutputError(
                f"cannot be written: {error.strerror or error}", place=str(self.path)
            ) from error

    def tidy(self) -> None:
        """Write the list anew, in order, one line for each result that is there; the longer list does as well."""
        kept = {name: entry for name, entry in self.entries.items() if entry[2] or self._is_there(name)}
        lines = [json.dumps(_HEAD) + "\n", *(_line(name, kept[name]) for name in sorted(kept))]
        with suppress(OutputError):
            put_file(self.path, "".join(lines).encode(), overwrite=True)

    def _is_there(self, name: str) -> bool:
        return (self.path.parent / os.fsdecode(name.encode("utf-8", "surrogateescape"))).exists()

    def close(self) -> None:
        """Let go of the file, and of the lock with it."""
        os.close(self._handle)


def _line(name: str, entry: tuple[str, str, str]) -> str:
    chart, order, holds = entry
    return json.dumps({"result": name, "chart": chart, "order": order, "holds": holds}) + "\n"


if sys.platform == "win32":
    import msvcrt

    def _lock(handle: int) -> bool:
        """Lock a byte far behind the end of an open file; False where another process has it."""
        os.lseek(handle, 1 << 30, os.SEEK_SET)
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

else:
    import fcntl

    def _lock(handle: int) -> bool:
        """Lock an open file until it is closed or its process ends; False where another process has it."""
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        except OSError:
            return True  # a file system without locks is no reason to do nothing
        return True


# The run


class Batch:
    """The work on a folder of charts: what is to be done, and how far it is.

    `read` gives the text of a chart file. OutputError where there are no charts, where the folder of results cannot
    be used, and where it holds results of another order that are not to be replaced (`overwrite`).
    """

    def __init__(
        self,
        order: Order,
        charts: Path,
        results: Path,
        read: Callable[[Path], str],
        *,
        jobs: int = 1,
        overwrite: bool = False,
    ) -> None:
        if not 1 <= jobs <= MOST_JOBS:
            raise OptionError(f"--jobs is {jobs}", hint=f"Give 1 to {MOST_JOBS}.")
        self.order, self.charts, self.results, self.read = order, charts, results, read
        self.jobs, self.overwrite, self.stopped = jobs, overwrite, False
        inside = results if _place(results) != _place(charts) else None
        self.names, self._closed = chart_files(charts, inside)
        if not self.names and not self._closed:
            hint = f"Charts are files that end in {', '.join(CHARTS[:-1])} or {CHARTS[-1]}."
            raise OutputError("holds no charts", place=str(charts), hint=hint)
        if order.ending in CHARTS and (inside is None or self._would_clash()):
            hint = "Give another folder for the results."
            raise OutputError("text results would mix with the charts", place=str(results), hint=hint)

    def __len__(self) -> int:
        return len(self.names) + len(self._closed)

    def outcomes(self) -> Iterator[Outcome]:
        """Make all results that are not there yet; what became of each chart, as soon as it is known.

        A Ctrl-C ends the work after the charts in hand, with `stopped` set. OutputError where nothing more can be
        written, or the processes that work on the charts die again and again.
        """
        make_folder(self.results)
        index = Index(self.results)
        try:
            self._check_order(index)
            self._clear_drafts()
            with _interrupted(self._stop):
                yield from self._closed
                yield from self._noted(index)
            if not self.stopped:
                index.tidy()
        finally:
            self._clear_drafts()
            index.close()

    def _clear_drafts(self) -> None:
        """Remove what processes that died have left of results."""
        for folder in {self.results, *(self._target(name).parent for name in self.names)}:
            clear_drafts(folder)

    def _would_clash(self) -> bool:
        """Whether a result would have the place of a chart."""
        charts, results = _place(self.charts), _place(self.results)
        places = {charts / name for name in self.names}
        return any(results / self._key(self._target(name)) in places for name in self.names)

    def _stop(self) -> None:
        self.stopped = True

    def _target(self, name: str) -> Path:
        return self.results / PurePath(name).with_suffix(self.order.ending)

    def _check_order(self, index: Index) -> None:
        """OutputError where there are results of another order, which are not to be replaced."""
        if self.overwrite:
            return
        others = [
            target
            for target in map(self._target, self.names)
            if index.entries.get(self._key(target), ("", self.order.digest))[1] != self.order.digest
            and os.path.lexists(target)
        ]
        if others:
            more = f" and {len(others) - 1:,} more" if len(others) > 1 else ""
            raise OutputError(
                "made with other options, other rules or another version",
                place=f"{others[0]}{more}",
                hint="Use --overwrite to make them all again, or give another folder.",
            )

    def _key(self, target: Path) -> str:
        """The name of a result in the index, the same whatever the encoding of file names is taken to be."""
        return os.fsencode(target.relative_to(self.results).as_posix()).decode("utf-8", "surrogateescape")

    def _noted(self, index: Index) -> Iterator[Outcome]:
        """The outcomes, those that were made entered in the index."""
        for outcome in _Crew(self.order, self.jobs, lambda: self.stopped).outcomes(self._waiting(index)):
            if outcome.state == "made":
                key = self._key(self._target(outcome.name))
                index.add([(key, (*index.entries[key][:2], outcome.holds))])
            if outcome.ends_all:
                raise OutputError(str(outcome), hint="Run the same command to continue.")
            yield outcome

    def _waiting(self, index: Index) -> Iterator[Job | Outcome]:
        """What is to be done for each chart, entered in the index before it is begun."""
        owners: dict[Path, str] = {}
        for name in self.names:
            owners.setdefault(self._target(name), name)
        names = iter(self.names)
        while block := list(islice(names, _AHEAD)):
            found = [self._task(name, index, owners[self._target(name)]) for name in block]
            begun = [
                (self._key(job.target), (digest(_bytes(job.text)), self.order.digest, ""))
                for job in found
                if isinstance(job, Job)
            ]
            if begun:
                index.add(begun, firmly=True)
            yield from found

    def _task(self, name: str, index: Index, owner: str) -> Job | Outcome:
        """What is to be done for a chart; `owner` is the first chart with a result of that name."""
        target = self._target(name)
        try:
            if owner != name:
                raise OutputError(f"{shorten(owner)} has the same result file", hint="Rename one of them.")
            text = self.read(self.charts / name)
            exists = os.path.lexists(target)
            if exists and not self.overwrite and self._is_kept(target, digest(_bytes(text)), index):
                return Outcome(name, "kept")
        except FillgenError as error:
            return Outcome(name, "refused", str(error))
        return Job(name, text, target, exists)

    def _is_kept(self, target: Path, chart: str, index: Index) -> bool:
        """Whether a result that is there is whole; OutputError where it may not be replaced."""
        entry = index.entries.get(self._key(target))
        if entry is None:
            hint = "Use --overwrite to replace it."
            raise OutputError("exists already and wasn't made by fillgen batch", place=str(target), hint=hint)
        if not entry[2]:
            return False
        hint = "Delete it to make it again, or use --overwrite to make them all again."
        if entry[0] != chart:
            raise OutputError("was made from another text of the chart", place=str(target), hint=hint)
        if _digest_of(target) != entry[2]:
            raise OutputError("was changed after it was made", place=str(target), hint=hint)
        return True


def _place(path: Path) -> Path:
    """Where a path leads, links followed."""
    try:
        return path.resolve()
    except (OSError, ValueError, RuntimeError) as error:
        raise OutputError("is not a name for a folder", place=repr(str(path))[:80]) from error


def _bytes(text: str) -> bytes:
    return text.encode("utf-8", "surrogatepass")


def _digest_of(path: Path) -> str:
    try:
        return digest(path.read_bytes())
    except OSError as error:
        raise unread(path, error) from error


@contextmanager
def _interrupted(stop: Callable[[], None]) -> Iterator[None]:
    """The first Ctrl-C asks the work to stop; the second breaks it off."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def asked(*_: int | FrameType | None) -> None:
        stop()
        signal.signal(signal.SIGINT, signal.default_int_handler)

    before = signal.signal(signal.SIGINT, asked)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


# The processes


class _Crew:
    """The processes that make results; those in hand are few, so that memory does not grow with the charts."""

    def __init__(self, order: Order, size: int, stopped: Callable[[], bool]) -> None:
        self.order, self.size, self.stopped = order, size, stopped

    def outcomes(self, waiting: Iterator[Job | Outcome]) -> Iterator[Outcome]:
        """What becomes of each chart. Where a process dies, the charts in hand are tried once more, one by one."""
        if self.size == 1:
            yield from self._here(waiting)
            return
        deaths = 0
        while lost := (yield from self._shift(waiting, self.size)):
            again: Iterator[Job | Outcome] = iter(lost)
            while guilty := (yield from self._shift(again, 1)):
                deaths += 1
                if deaths == _MOST_DEATHS:
                    hint = "The machine may be short of memory: use fewer --jobs. Run the same command to continue."
                    raise OutputError(f"the worker processes died on {deaths} charts", hint=hint)
                yield Outcome(guilty[0].name, "refused", "The process working on it died twice.")

    def _here(self, waiting: Iterator[Job | Outcome]) -> Iterator[Outcome]:
        """The outcomes, made by this process itself."""
        for item in waiting:
            if self.stopped():
                return
            yield item if isinstance(item, Outcome) else make(item, self.order)

    def _shift(self, waiting: Iterator[Job | Outcome], size: int) -> Generator[Outcome, None, list[Job]]:
        """The outcomes of what is waiting, until a process dies; the answer is what was in hand then."""
        hands: dict[Future[Outcome], Job] = {}
        lost: list[Job] = []
        with _pool(self.order, size) as pool:
            while True:
                yield from self._fill(waiting, pool, hands, lost, size + 2 if size > 1 else 1)
                if not hands:
                    break
                for future in wait(hands, return_when=FIRST_COMPLETED).done:
                    job = hands.pop(future)
                    try:
                        outcome = future.result()
                    except BrokenProcessPool:
                        lost.append(job)
                    else:
                        yield outcome
        # a result may have been written before the death, so the next try replaces it
        return [] if self.stopped() else [replace(job, replaces=True) for job in lost]

    def _fill(
        self,
        waiting: Iterator[Job | Outcome],
        pool: ProcessPoolExecutor,
        hands: dict[Future[Outcome], Job],
        lost: list[Job],
        most: int,
    ) -> Iterator[Outcome]:
        """Hand out charts until there are enough in hand; what needs no work is answered at once."""
        while len(hands) < most and not self.stopped() and not lost:
            item = next(waiting, None)
            if item is None:
                return
            if isinstance(item, Outcome):
                yield item
                continue
            try:
                with _deaf():
                    hands[pool.submit(_make, item)] = item
            except BrokenProcessPool:
                lost.append(item)


@contextmanager
def _pool(order: Order, size: int) -> Iterator[ProcessPoolExecutor]:
    """Processes started anew, not split off, so that they begin alike on every system."""
    context = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(size, mp_context=context, initializer=_begin, initargs=(order,))
    try:
        yield pool
    except BaseException:
        for child in multiprocessing.active_children():
            child.terminate()
        raise
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


if sys.platform == "win32":

    @contextmanager
    def _deaf() -> Iterator[None]:
        yield

else:

    @contextmanager
    def _deaf() -> Iterator[None]:
        """Processes started meanwhile do not hear a Ctrl-C, which is for the one that started them."""
        before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        try:
            yield
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)


_ORDER: list[Order] = []
"""What this process was started for."""


def _begin(order: Order) -> None:
    """Make a new process ready: it leaves Ctrl-C to the one that started it, and ends where that one is killed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _ORDER[:] = [order]
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _make(job: Job) -> Outcome:
    return make(job, _ORDER[0])


def make(job: Job, order: Order) -> Outcome:
    """Make one result and write it whole; whatever goes wrong is in the outcome."""
    try:
        content = order.result(job.text)
        make_folder(job.target.parent)
        put_file(job.target, content, overwrite=job.replaces)
    except FillgenError as error:
        cause = error.__cause__
        ends_all = isinstance(cause, OSError) and cause.errno in _NO_ROOM
        return Outcome(job.name, "refused", str(error), ends_all=ends_all)
    except Exception as error:  # the other charts go on, whatever is wrong with this one
        message = (
            f"A bug in fillgen, not a fault of the chart: {type(error).__name__} {shorten(str(error), 80)}."
        )
        return Outcome(job.name, "refused", message)
    return Outcome(job.name, "made", holds=digest(content))
