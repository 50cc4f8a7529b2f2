"""Help says everything and fits: every value, every example, 80 columns; the guide is at hand."""

from __future__ import annotations

import re
import shlex

import pytest

from fillgen.app.options import OPTIONS, IdeaOptions, PlayOptions
from fillgen.cli.examples import EXAMPLES
from fillgen.hands.instruments import sound_names
from fillgen.rules.pack import RulePack
from fillgen.tables import folder
from fillgen.writers.guide import Topic, page_text, topics
from tests.commands import Call, all_commands, refused

ALL = {"": None, **{" ".join(words): command for words, command in all_commands().items()}}


@pytest.mark.parametrize("columns", [80, 60, 200])
@pytest.mark.parametrize("words", ALL)
def test_help_fits(call: Call, monkeypatch: pytest.MonkeyPatch, words: str, columns: int) -> None:
    """No line of any help is wider than 80 columns, or than a narrower terminal but for what is to be copied; nothing is cut."""
    monkeypatch.setenv("COLUMNS", str(columns))
    answer = call(*words.split(), "--help")
    assert (answer.code, answer.err) == (0, "")
    lines = answer.out.splitlines()
    copied = {f"  {example}" for example in EXAMPLES.get(words, ())}
    assert copied <= set(lines)
    assert [line for line in lines if len(line) > min(columns, 80) and line not in copied] == []
    assert max(map(len, copied), default=0) <= 80
    assert [line for line in lines if line.endswith("...") and not line.startswith("Usage: ")] == []


@pytest.mark.parametrize("words", [words for words in ALL if words])
def test_every_option_is_described(call: Call, words: str) -> None:
    """Each option has a line of its own with a sentence, and stands under one heading only."""
    out = call(*words.split(), "--help").out
    for param in ALL[words].params:  # type: ignore[union-attr]
        if param.param_type_name == "option":
            name = max(param.opts, key=len)
            assert len(re.findall(rf"^  (?:-\w, )?{name}(?= [A-Z]|  | /|\n)", out, re.MULTILINE)) == 1, name
            assert param.help, name


def test_all_values_are_listed(call: Call) -> None:
    """All rhythms, shapes and sounds are in the help of `ideas`, and every value of every other option that has some."""
    out = " ".join(call("ideas", "--help").out.split())
    pack = RulePack()
    for value in (*pack.rhythm_names, *pack.shapes, *sound_names()):
        assert value in out, value
    for group in (IdeaOptions, PlayOptions):
        for row in OPTIONS[group].values():
            for value in row.values() if row.values is not None and row.listed else ():
                assert value in out, (row.flags, value)


@pytest.mark.parametrize("words", [words for words in ALL if words])
def test_examples_are_commands(words: str) -> None:
    """Every command has an example, which calls it with options that it has."""
    command = ALL[words]
    assert EXAMPLES[words]
    for example in EXAMPLES[words]:
        assert example.startswith(f"fillgen {words}")
        arguments = shlex.split(example)[1 + len(words.split()) :]
        context = command.make_context(words, arguments)  # type: ignore[union-attr]
        assert context.params is not None
    assert set(EXAMPLES) == set(ALL) - {""}


def test_alone_it_says_how_to_begin(call: Call) -> None:
    """Without a command: what to do first, on standard output."""
    answer = call()
    assert (answer.code, answer.err) == (0, "")
    for part in ("fillgen page", "fillgen ideas ", "fillgen help ", "fillgen --help"):
        assert part in answer.out
    assert max(map(len, answer.out.splitlines())) <= 80


def test_help_lists_the_guide(call: Call) -> None:
    """`help` names every page; each is printed by its name, by the commands it is about, and with capitals."""
    answer = call("help")
    assert (answer.code, answer.err) == (0, "")
    for topic in topics():
        assert re.search(rf"^  {topic.name} +{re.escape(topic.title)}: ", answer.out, re.MULTILINE)
        page = call("help", topic.name.upper())
        assert page.out.startswith(f"{topic.title}\n{'=' * len(topic.title)}\n")
        assert all(call("help", command) == page for command in topic.commands)
    assert {"voicings", "notes"} <= {command for topic in topics() for command in topic.commands}


@pytest.mark.parametrize("topic", topics(), ids=lambda topic: topic.name)
@pytest.mark.parametrize("width", [60, 80, 120])
def test_a_page_of_the_guide_fits(topic: Topic, width: int) -> None:
    """Lines are no wider than the terminal but for commands and what they print; no markup is left."""
    source = (folder("guide") / f"{topic.name}.md").read_text(encoding="utf-8")
    examples = {line.strip() for block in source.split("```")[1::2] for line in block.splitlines()}
    for line in page_text(topic.name, width).splitlines():
        if line.strip() not in examples:
            assert len(line) <= width, line
            assert not re.search(r"`|\*\*|\]\(", line), line


def test_a_topic_that_is_not_there(call: Call) -> None:
    """A typing error gets the nearest page, anything else the way to the list."""
    refused(call("help", "chekcing"), "'chekcing'", "'checking'")
    refused(call("help", "weather"), "'weather'", "fillgen help lists its pages")
