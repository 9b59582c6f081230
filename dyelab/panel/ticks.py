"""Several of a list, ticked one by one: no key to hold, and one widget however long the list."""

from pathlib import Path
from typing import Any

import anywidget
import traitlets

from dyelab import words


class Ticks(anywidget.AnyWidget):
    """A list with tick boxes; `value` is a tuple, in the list's order.

    Options are values or (label, value) pairs; new ones keep nothing ticked.
    """

    _esm = Path(__file__).with_suffix(".js").read_text(encoding="utf-8")
    description = traitlets.Unicode("").tag(sync=True)
    narrow = traitlets.Unicode("").tag(sync=True)
    labels: traitlets.List = traitlets.List().tag(sync=True)
    chosen: traitlets.List = traitlets.List().tag(sync=True)
    rows = traitlets.Int(5).tag(sync=True)
    tooltip = traitlets.Unicode("", allow_none=True)
    options = traitlets.Any(())
    value = traitlets.Tuple()

    def __init__(self, options: Any = (), value: Any = (), **more: Any) -> None:
        super().__init__(narrow=words.say("frame.narrow"), **more)
        self.options = tuple(options)
        self.value = tuple(value)

    @property
    def values(self) -> list[Any]:
        """What can be chosen, without labels."""
        return [one[1] if isinstance(one, tuple) else one for one in self.options]

    @traitlets.validate("options")
    def _held(self, proposal: Any) -> tuple[Any, ...]:
        return tuple(proposal["value"])

    @traitlets.observe("options")
    def _offered(self, _change: Any) -> None:
        self.value = ()
        self.labels = [str(one[0] if isinstance(one, tuple) else one) for one in self.options]

    @traitlets.validate("value")
    def _known(self, proposal: Any) -> tuple[Any, ...]:
        unknown = [one for one in proposal["value"] if one not in self.values]
        if unknown:
            raise traitlets.TraitError(f"not on the list: {unknown}")
        return tuple(one for one in self.values if one in proposal["value"])

    @traitlets.observe("value")
    def _shown(self, change: Any) -> None:
        self.chosen = [i for i, one in enumerate(self.values) if one in change["new"]]

    @traitlets.observe("chosen")
    def _ticked(self, change: Any) -> None:
        values = self.values
        self.value = tuple(values[i] for i in change["new"] if 0 <= i < len(values))
