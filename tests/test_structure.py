"""The module table of DEVELOPERS.md is law: imports run one way, and heavy ones have one owner."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "dyelab"

TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "LICENSE",
    "notebooks",
    "dyelab",
    "data",
    "tests",
}
IMAGING = {"cv2", "PIL", "tifffile", "rawpy", "pillow_heif"}
PLOTTING = {"plotly", "matplotlib"}
WIDGETS = {"ipywidgets", "anywidget", "IPython"}
FORBIDDEN = {
    "table": IMAGING | PLOTTING | WIDGETS | {"colour", "scipy"},
    "convert": IMAGING | PLOTTING | WIDGETS,
    "recipe": IMAGING | PLOTTING | WIDGETS,
    "book": IMAGING | PLOTTING | WIDGETS,
    "plan": IMAGING | PLOTTING | WIDGETS,
    "read": PLOTTING | WIDGETS,
    "calibrate": PLOTTING | WIDGETS,
    "measure": PLOTTING | WIDGETS,
    "compare": PLOTTING | WIDGETS,
    "shift": PLOTTING | WIDGETS,
    "grade": PLOTTING | WIDGETS,
    "predict": PLOTTING | WIDGETS,
    "plot": IMAGING | WIDGETS,
    "handout": WIDGETS,
}
OWNERS = {"colour": {"convert"}, "ipywidgets": {"panel"}, "anywidget": {"panel"}}


def module_order():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    return re.findall(r"^\| `(\w+)` \|", text, flags=re.M)


def sources():
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(PACKAGE).parts
        if parts[0].startswith("_"):
            continue
        yield parts[0].removesuffix(".py"), path


def imported(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name.split(".") for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.level == 0:
            base = node.module.split(".")
            if base == ["dyelab"]:
                yield from (["dyelab", alias.name] for alias in node.names)
            else:
                yield base


def test_every_module_is_in_the_table():
    assert {module for module, _ in sources()} <= set(module_order())


def test_imports_run_one_way():
    order = module_order()
    wrong = [
        f"{path.relative_to(ROOT)} imports {name[1]}"
        for module, path in sources()
        for name in imported(path)
        if name[0] == "dyelab"
        and len(name) > 1
        and name[1] in order
        and name[1] != module
        and order.index(name[1]) > order.index(module)
    ]
    assert not wrong


def test_relative_imports_are_not_used():
    """An absolute import shows in this file's checks; a relative one would hide."""
    wrong = [
        str(path)
        for _, path in sources()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.ImportFrom) and node.level
    ]
    assert not wrong


def test_heavy_imports_stay_with_their_owners():
    wrong = []
    for module, path in sources():
        roots = {name[0] for name in imported(path)}
        wrong += [f"{path.name}: {name}" for name in roots & FORBIDDEN.get(module, set())]
        wrong += [
            f"{path.name}: {name} belongs to {owners}"
            for name, owners in OWNERS.items()
            if name in roots and module not in owners
        ]
    assert not wrong


@pytest.mark.parametrize("module", ["numpy", "pandas", "colour", "plotly", "ipywidgets", "cv2"])
def test_importing_dyelab_loads_nothing_heavy(module):
    code = f"import sys, dyelab; sys.exit({module!r} in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT).returncode == 0


def test_top_level_holds_the_agreed_names_only():
    if not (ROOT / ".git").exists():
        pytest.skip("not a checkout")
    listing = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.split("\n")
    names = {line.split("/")[0] for line in listing if line}
    assert {name for name in names if not name.startswith(".")} <= TOP_LEVEL
