"""Every text that the program shows to its users, in one list, to be read through.

Run as ``python tests/user_texts.py > texts.txt``: words of panels and pages, notebooks, refusals
and other sentences in the code, help of the commands, texts of the tables that come along, and
whatever stands as a text in templates and scripts, where hardly any should.
"""

import ast
import csv
import json
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

HERE = Path(__file__).parents[1]
PACKAGE = HERE / "dyelab"
SENTENCE = re.compile(r"[A-Za-z(].* .* .*")  # three words or more


def words() -> Iterator[tuple[str, str]]:
    for path in sorted((PACKAGE / "words" / "en").glob("*.toml")):
        for key, text in tomllib.loads(path.read_text(encoding="utf-8")).items():
            yield f"{path.stem}.{key}", text


def notebooks() -> Iterator[tuple[str, str]]:
    for path in sorted((HERE / "notebooks").glob("*.ipynb")):
        for cell in json.loads(path.read_text(encoding="utf-8"))["cells"]:
            if cell["cell_type"] == "markdown":
                yield path.name, "".join(cell["source"])


def tables() -> Iterator[tuple[str, str]]:
    for path in [*sorted((PACKAGE / "recipe").glob("*.csv")), PACKAGE / "table" / "columns.csv"]:
        with path.open(encoding="utf-8", newline="") as file:
            for row in csv.DictReader(file):
                first, second, *_ = row.values()
                for column in ("note", "disposal", "about", "remedy"):
                    if row.get(column):
                        yield f"{path.name} {first} {second} {column}", row[column]


IN_MARKUP = re.compile(r">\s*([A-Za-z][^<>{}()=;]*)<")
IN_SCRIPT = re.compile(r"""["'`]([A-Z][a-z]+ [^"'`{}=]*|[A-Za-z]+ [a-z]+ [^"'`{}=<;]*)["'`]""")


def templates() -> Iterator[tuple[str, str]]:
    """Texts in markup, scripts and page templates that come from no file of words."""
    kinds = {".html": IN_MARKUP, ".j2": IN_MARKUP, ".js": IN_SCRIPT, ".typ": IN_SCRIPT}
    for path in sorted(PACKAGE.rglob("*")):
        if path.suffix in kinds:
            for found in kinds[path.suffix].findall(path.read_text(encoding="utf-8")):
                yield str(path.relative_to(PACKAGE)), found


def said(node: ast.AST) -> str:
    """A text as it stands in the code, with what is filled in between braces."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(said(one) if isinstance(one, ast.Constant) else "{…}" for one in node.values)
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        return said(node.left) + said(node.right)
    return ""


def sentences(path: Path) -> Iterator[tuple[str, str]]:
    """Sentences of a module, docstrings left out but for those that the command line prints."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    quiet = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef)
        and isinstance(node.body[0], ast.Expr)
        and path.parent.name != "cli"
    }
    inside = {id(one) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr)
              for one in node.values}  # fmt: skip
    for node in ast.walk(tree):
        text = said(node) if id(node) not in quiet | inside else ""
        if SENTENCE.search(text):
            yield f"{path.relative_to(PACKAGE)}:{node.lineno}", text


def code() -> Iterator[tuple[str, str]]:
    for path in sorted(PACKAGE.rglob("*.py")):
        yield from sentences(path)


def every() -> Iterator[tuple[str, str]]:
    yield from words()
    yield from notebooks()
    yield from tables()
    yield from templates()
    yield from code()


if __name__ == "__main__":
    for place, text in every():
        print(f"{place}\n    " + text.replace("\n", "\n    "))
