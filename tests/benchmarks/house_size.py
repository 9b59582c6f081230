"""How large the house is: files, lines by kind, function bodies and imports, room by room.

Run as ``python tests/benchmarks/house_size.py [FOLDER] [since=OLD]``; FOLDER is another checkout,
OLD one of long ago. With it also what of today stood there already, moved, renamed or rewritten:
the lines of functions that share three words in a row with one of OLD's often enough (Dice's
coefficient; two limits, since nothing says where a rewritten function becomes a new one), taken
as the share of all lines, and the files that hold more of them than of others.
"""

import ast
import re
import sys
from collections import Counter
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


def functions(package):
    """File, lines of code and threes of words of every function and method."""
    for path in sorted(package.rglob("*.py")):
        lines = path.read_text(encoding="utf-8").splitlines()
        for node in ast.walk(ast.parse("\n".join(lines))):
            if isinstance(node, ast.FunctionDef):
                about = docstring(node)
                said = range(about.lineno, about.end_lineno + 1) if about else ()
                code = [lines[i - 1] for i in range(node.lineno, node.end_lineno + 1)
                        if i not in said and lines[i - 1].strip()]  # fmt: skip
                words = re.findall(r"\w+|[^\s\w]", "\n".join(code))
                yield path, len(code), Counter(zip(words, words[1:], words[2:], strict=False))


def standing(package, old, limits=(0.25, 0.3)):
    """Share of lines, and number of files, that stood in OLD already."""
    before, where = [threes for _, _, threes in functions(old)], {}
    for i, threes in enumerate(before):
        for three in threes:
            where.setdefault(three, []).append(i)
    rows = []
    for path, size, threes in functions(package):
        near = Counter(i for t in threes if len(where.get(t, ())) < 60 for i in where.get(t, ()))
        best = max(
            (2 * (threes & before[i]).total() / (threes + before[i]).total()
             for i, _ in near.most_common(8)), default=0.0,
        )  # fmt: skip
        rows.append((path, size, best))
    for limit in limits:
        files = Counter()
        for path, size, best in rows:
            files[path] += size if best >= limit else -size
        kept = sum(size for _, size, best in rows if best >= limit)
        share = kept / sum(size for _, size, _ in rows)
        without = sum(path not in files for path in package.rglob("*.py"))
        yield limit, share, sum(n >= 0 for n in files.values()) + without


def main(argv):
    old = [Path(a.removeprefix("since=")) for a in argv if a.startswith("since=")]
    argv = [a for a in argv if not a.startswith("since=")]
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
    for limit, share, files in standing(package, old[0] / "dyelab") if old else ():
        lines = share * rooms["all"]["code"]
        print(f"alike by {limit}: {lines:,.0f} lines stood before, mainly in {files} files")
    return rooms["all"]


if __name__ == "__main__":
    main(sys.argv[1:])
