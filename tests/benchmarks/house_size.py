"""How large the house is: files, lines by kind, function bodies and imports, room by room.

Run as ``python tests/benchmarks/house_size.py [FOLDER]``; FOLDER is another checkout.
"""

import ast
import sys
from pathlib import Path

DEFINED = (ast.Module, ast.FunctionDef, ast.ClassDef)
COLUMNS = ("files", "code", "docstrings", "blank", "comments", "bodies", "longest", "imports")


def docstring(node):
    first = node.body[0] if node.body else None
    told = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant)
    return first if told and isinstance(first.value.value, str) else None


def measured(path):
    """Figures of one file, and the lengths of its function bodies without docstrings."""
    text = path.read_text(encoding="utf-8")
    tree, said = ast.parse(text), set()
    lengths = []
    for node in ast.walk(tree):
        if isinstance(node, DEFINED) and (about := docstring(node)):
            said |= set(range(about.lineno, about.end_lineno + 1))
        if isinstance(node, ast.FunctionDef):
            body = node.body[1:] if docstring(node) else node.body
            lengths += [body[-1].end_lineno - body[0].lineno + 1] if body else []
    kinds = {"code": 0, "docstrings": 0, "blank": 0, "comments": 0}
    for number, line in enumerate(text.splitlines(), 1):
        bare = line.strip()
        plain = "blank" if not bare else "comments" if bare.startswith("#") else "code"
        kinds["docstrings" if number in said else plain] += 1
    froms = (ast.Import, ast.ImportFrom)
    imports = sum(isinstance(n, froms) and "dyelab" in ast.unparse(n) for n in ast.walk(tree))
    return kinds, lengths, imports


def main(argv):
    package = Path(argv[0] if argv else Path(__file__).parents[2]) / "dyelab"
    rooms, bodies = {}, []
    for path in sorted(package.rglob("*.py")):
        kinds, lengths, imports = measured(path)
        bodies += lengths
        for room in (path.relative_to(package).parts[0].removesuffix(".py"), "all"):
            row = rooms.setdefault(room, dict.fromkeys(COLUMNS, 0))
            row["files"] += 1
            row["bodies"] += len(lengths)
            row["longest"] = max(row["longest"], *lengths, 0)
            row["imports"] += imports
            for name, count in kinds.items():
                row[name] += count
    print(f"{'room':12}" + "".join(f"{name:>11}" for name in COLUMNS))
    for room, row in rooms.items():
        print(f"{room:12}" + "".join(f"{row[name]:11,}" for name in COLUMNS))
    bodies.sort()
    print(f"a body has {bodies[len(bodies) // 2]} lines in the median")
    return rooms["all"]


if __name__ == "__main__":
    main(sys.argv[1:])
