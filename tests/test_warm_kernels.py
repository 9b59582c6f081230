"""A page gets a kernel that is ready; kept kernels are nobody's business until then."""

import asyncio
import time

import pytest

from dyelab.cli.warm_kernels import WarmKernels

pytestmark = pytest.mark.slow


async def _until(true, seconds=60):
    end = time.monotonic() + seconds
    while not true() and time.monotonic() < end:
        await asyncio.sleep(0.1)
    assert true()


async def _answer(kernels, name, code):
    """What a kernel prints."""
    client = kernels.get_kernel(name).client()
    client.start_channels()
    try:
        await client.wait_for_ready(60)
        await asyncio.sleep(3)  # it learns from the book meanwhile
        said = []
        await client.execute_interactive(code, output_hook=said.append)
        return "".join(one["content"].get("text", "") for one in said)
    finally:
        client.stop_channels()


async def _walked(folder):
    kernels = WarmKernels(root_dir=str(folder), ahead=1)
    try:
        await _until(lambda: kernels.kept and next(iter(kernels.kept.values())).done())
        kept = next(iter(kernels.kept))
        assert kernels.list_kernels() == []
        kernels.cull_idle_timeout = 1
        await asyncio.sleep(1.1)
        await kernels.cull_kernel_if_idle(kept)
        assert kept in kernels
        elsewhere = folder / "elsewhere"
        elsewhere.mkdir()
        strange = await kernels.start_kernel(path="elsewhere")
        assert strange != kept, "a kernel for another folder is started there"
        assert await kernels.start_kernel(path="", kernel_name="python3") == kept
        assert {one["id"] for one in kernels.list_kernels()} == {kept, strange}
        said = await _answer(
            kernels,
            kept,
            "import sys, os; there = 'dyelab.panel.compare' in sys.modules; "
            "from dyelab.panel.book_choice import source; "
            "from dyelab.panel.explore.bench import learn; "
            "held = [one.cache_info().currsize for one in (source, learn)]; "
            "print(there, held, os.getcwd())",
        )
        assert said.strip() == f"True [1, 1] {folder}"
        await _until(lambda: kernels.kept)
    finally:
        await kernels.shutdown_all(now=True)


def test_a_page_gets_a_kept_kernel_and_the_next_is_started(tmp_path, monkeypatch):
    for name in ("HOME", "IPYTHONDIR", "JUPYTER_RUNTIME_DIR"):
        monkeypatch.setenv(name, str(tmp_path / name.lower()))
    folder = tmp_path / "desk"
    folder.mkdir()
    asyncio.run(_walked(folder.resolve()))
