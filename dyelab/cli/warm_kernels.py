"""Kernels started ahead with the panels imported, so that a page answers soon after it is opened.

JupyterLab and the served panels take this in place of their own manager of kernels (`open_`).
"""

import asyncio
from pathlib import Path
from typing import Any

from jupyter_server.services.kernels.kernelmanager import AsyncMappingKernelManager
from jupyter_server.utils import ApiPath
from tornado.ioloop import IOLoop
from traitlets import Integer

# Asked for by ipykernel's own option for extensions of the shell.
WARM = ["--IPKernelApp.extensions=['dyelab.panel.warm']", "--IPKernelApp.log_level=ERROR"]
LOOK_SECONDS = 1.0  # how soon the next kernel may start, so that the page at work goes first


class WarmKernels(AsyncMappingKernelManager):
    """Hands out a kernel that is ready, and starts the next one once the page has its answer."""

    ahead = Integer(1, config=True, help="Kernels kept ready (about 150 MB each); 0 keeps none.")

    def __init__(self, **traits: Any) -> None:
        super().__init__(**traits)
        self.kept: dict[str, asyncio.Future[str]] = {}
        IOLoop.current().add_callback(self._refill)

    async def _async_start_kernel(
        self, *, kernel_id: str | None = None, path: Any = None, **asked: Any
    ) -> str:
        """Give a kept kernel for a page of the desk's own folder, else start one as ever."""
        if kernel_id is None and self._fits(path, asked.get("kernel_name")):
            while self.kept:
                started = self.kept.pop(next(iter(self.kept)))
                IOLoop.current().call_later(LOOK_SECONDS, self._refill)
                if (given := await started) in self:
                    return given
        return await super()._async_start_kernel(kernel_id=kernel_id, path=path, **asked)

    start_kernel = _async_start_kernel  # type: ignore[assignment] # as the class above names it

    def _fits(self, path: Any, name: str | None) -> bool:
        folder = Path(self.cwd_for_path(path or ""))
        return folder == Path(self.root_dir) and name in (None, "", self.default_kernel_name)

    async def _refill(self) -> None:
        """Start kernels one after the other; a page that is at work goes first."""
        for _ in range(self.ahead - len(self.kept)):
            while self._at_work():
                await asyncio.sleep(LOOK_SECONDS)
            if len(self.kept) < self.ahead:
                name = self.new_kernel_id()
                start = super()._async_start_kernel(
                    kernel_id=name, path=ApiPath(""), extra_arguments=WARM
                )
                self.kept[name] = asyncio.ensure_future(start)
                await asyncio.wait([self.kept[name]])

    def _at_work(self) -> bool:
        used = [kernel for name, kernel in self._kernels.items() if name not in self.kept]
        return any(getattr(one, "execution_state", "") == "busy" for one in used)

    def list_kernels(self) -> list[dict[str, Any]]:
        """Return the kernels that pages use, without those kept ready."""
        return [one for one in super().list_kernels() if one["id"] not in self.kept]

    async def cull_kernel_if_idle(self, kernel_id: str) -> None:
        """End an idle kernel, unless it is kept ready."""
        if kernel_id not in self.kept:
            await super().cull_kernel_if_idle(kernel_id)
