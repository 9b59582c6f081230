"""What the README promises works as it stands there."""

import re
from pathlib import Path

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_first_five_lines_run():
    (block,) = re.findall(r"```python\n(.*?)```", README, flags=re.S)
    lines = [line for line in block.splitlines() if line]
    *statements, last = lines
    space = {}
    exec("\n".join(statements), space)
    ranking = eval(last, space)
    assert len(lines) <= 5
    assert len(ranking) > 5
    assert ranking["dE00"].is_monotonic_decreasing


def test_pictures_and_notebooks_named_are_there():
    for name in re.findall(r"\]\(([^)#:]+)\)", README):
        assert (ROOT / name).is_file(), name
    for name in re.findall(r"`(\d_\w+)`", README):
        assert (ROOT / "notebooks" / f"{name}.ipynb").is_file(), name


def test_commands_named_exist():
    from dyelab.cli import COMMANDS

    named = set(re.findall(r"`dyelab (\w+)", README))
    assert len(named) > 5
    assert named <= set(COMMANDS)
