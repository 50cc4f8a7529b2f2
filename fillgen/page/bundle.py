"""JavaScript modules bundled into one script, for a page that is a single file.

Each module becomes a function that is called once and returns the module's exports. Comments on lines of their own are left
out. Only the forms that this project's own modules use are supported: `import { a, b } from "./name.js";` and `export`
before a declaration.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import PurePosixPath

_IMPORT = re.compile(r'^import \{ ([\w, ]+) \} from "(\.{1,2}/[\w./-]+\.js)";$', re.MULTILINE)
_EXPORT = re.compile(r"^export (?=(?:async )?(?:function\*?|const|class) (\w+))", re.MULTILINE)
_LEFT_OVER = re.compile(r"^\s*(?:import|export)\b.*$", re.MULTILINE)
_COMMENT = re.compile(r"^[ \t]*(?:/\*\*(?:(?!\*/).)*\*/|//[^\n]*)\n", re.MULTILINE | re.DOTALL)
_NOT_IN_A_PAGE = ("</script", "<!--")


def bundled(main: str, read: Callable[[str], str]) -> str:
    r"""One script with the module `main` and everything it imports.

    `read` gives the text of a module by its name. ValueError for an unsupported form of import or export, for modules
    that import each other, and for text that would end a script element.

    >>> modules = {"a.js": 'import { two } from "./b.js";\nuse(two);\n', "b.js": "export const two = 2;\n"}
    >>> print(bundled("a.js", modules.__getitem__))
    "use strict";
    const $b = (() => {
    const two = 2;
    return { two };
    })();
    const $a = (() => {
    const { two } = $b;
    use(two);
    return {  };
    })();
    <BLANKLINE>
    """
    script = '"use strict";\n' + "".join(_wrapped(name, read(name)) for name in in_order(main, read))
    for forbidden in _NOT_IN_A_PAGE:
        if forbidden in script.lower():
            raise ValueError(f"a script in a page cannot hold {forbidden}")
    return script


def in_order(main: str, read: Callable[[str], str]) -> list[str]:
    """A module and its dependencies, each after those that it imports."""
    ordered: list[str] = []
    under_way: list[str] = []

    def visit(name: str) -> None:
        if name in ordered:
            return
        if name in under_way:
            raise ValueError(f"{name} and {under_way[-1]} import each other")
        under_way.append(name)
        for found in _IMPORT.finditer(read(name)):
            visit(path_of(name, found[2]))
        under_way.pop()
        ordered.append(name)

    visit(main)
    return ordered


def path_of(importer: str, imported: str) -> str:
    """The name of a module that another one imports by a relative path."""
    parts: list[str] = []
    for part in (*PurePosixPath(importer).parent.parts, *imported.split("/")):
        if part == "..":
            parts.pop()
        elif part != ".":
            parts.append(part)
    return "/".join(parts)


def _wrapped(name: str, text: str) -> str:
    text = _COMMENT.sub("", text)
    exported = [found[1] for found in _EXPORT.finditer(text)]
    inside = _IMPORT.sub(lambda found: f"const {{ {found[1]} }} = {_value(path_of(name, found[2]))};", text)
    inside = _EXPORT.sub("", inside)
    left = _LEFT_OVER.search(inside)
    if left is not None:
        raise ValueError(f"{name}: cannot bundle {left[0].strip()!r}")
    return f"const {_value(name)} = (() => {{\n{inside}return {{ {', '.join(exported)} }};\n}})();\n"


def _value(name: str) -> str:
    """The name of the constant for a module's exports."""
    return "$" + re.sub(r"\W", "_", name.removesuffix(".js"))
