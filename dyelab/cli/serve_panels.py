"""The served panels: Voilà behind `gate`, on a free port, with idle kernels ended.

Run as ``python -m dyelab.cli.serve_panels``; `open --app` does.
"""

import secrets
import webbrowser
from pathlib import Path
from typing import Any

from tornado.web import StaticFileHandler
from traitlets import Integer
from voila.app import Voila

from dyelab import words
from dyelab.cli.gate import Gate, guard

# A kernel takes some 150 MB. One that no page holds is ended soon, one that a page holds is kept
# through a long lunch.
IDLE_SECONDS = 300
LOOK_SECONDS = 30
FIRST = "/voila/render/0_start.ipynb"  # what the printed address leads to
# Pages, tables and pictures that were saved from a panel; nothing deeper in that folder.
SAVED = r"saved/[^/]+\.(pdf|html|csv|svg|png)"


class _Kept(StaticFileHandler):
    def get_cache_time(self, *_asked: Any) -> int:
        return 86400  # a day; each start of the server has an address of its own


class Panels(Voila):
    """Voilà that answers to whoever has the printed address, and to nobody else."""

    port = Integer(0, config=True, help="Port on this machine; 0 takes a free one.")

    def init_settings(self) -> dict[str, Any]:
        """Return Tornado's settings, with culling of kernels switched on."""
        self.voila_configuration.file_allowlist = [SAVED]
        settings: dict[str, Any] = super().init_settings()
        for name, value in (
            ("cull_idle_timeout", IDLE_SECONDS),
            ("cull_interval", LOOK_SECONDS),
            ("cull_connected", False),
            ("cull_busy", False),
        ):
            setattr(self.kernel_manager, name, value)
        # A page that is left ends its kernel by a message that can carry no such token; the gate
        # has looked at cookie and origin already.
        return {**settings, "disable_check_xsrf": True}

    def init_handlers(self) -> list[Any]:
        """Return what is answered, with the drawings' program for the browser to keep."""
        import plotly

        folder = Path(plotly.__file__).parent / "package_data"
        return [(r"/drawings/(plotly\.min\.js)", _Kept, {"path": folder}), *super().init_handlers()]

    def listen(self) -> None:
        """Bind a port of this machine alone, print the address with its token, and serve."""
        from tornado.httpserver import HTTPServer
        from tornado.ioloop import IOLoop
        from tornado.netutil import bind_sockets

        sockets = bind_sockets(self.port, "127.0.0.1")
        self.port = sockets[0].getsockname()[1]
        token = secrets.token_urlsafe(24)
        guard(self.app, Gate(self.port, token, FIRST))
        HTTPServer(self.app, max_buffer_size=2**30).add_sockets(sockets)
        address = f"http://127.0.0.1:{self.port}/?token={token}"
        print(words.say("cli.address", address=address), flush=True)
        if self.open_browser:
            webbrowser.open(address)
        self.ioloop = IOLoop.current()
        try:
            self.ioloop.start()
        except KeyboardInterrupt:
            self.log.info("Stopping")
        finally:
            self.stop()


if __name__ == "__main__":
    Panels.launch_instance()
