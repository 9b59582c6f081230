"""Mordant printing and painting: one cloth, several areas with steps of their own, one dye bath."""

from collections.abc import Mapping
from typing import Any

import pandas as pd

from dyelab import recipe, table
from dyelab.errors import InputError
from dyelab.plan.baths import in_turn, put_on, scour_of, step_of
from dyelab.plan.factors import Level, level_of, parts, roles_of

_FIXING = "wheat bran 20"


def printed_cloth(
    swatch: str,
    areas: Mapping[str, str],
    *,
    fibre: str = "cotton",
    dye: str = "madder 30",
    fixing: str = _FIXING,
    mass_g: float = 20.0,
    series: str = "",
    listed: pd.DataFrame | None = None,
) -> dict[str, Any]:
    """Plan a printed or painted cloth, ready for ``book.add(bk, **printed(…))``.

    Parameters
    ----------
    swatch : str
        Its code.
    areas : mapping of str to str
        By area, the mordant put on it with its dose in % WOF, several joined by `` + ``, or
        ``none``: ``{"leaf": "aluminium acetate 5", "stem": "aluminium acetate 5 + ferrous
        acetate 2", "ground": "none"}``.
    dye, fixing : str
        What the whole cloth is dyed in, several after one another joined by `` + `` as in
        `levels`, and what fixes the mordants before it.

    Returns
    -------
    dict of str to DataFrame
        `swatches` and `steps`; the steps are marked as planned.

    Raises
    ------
    InputError
        If there is no area, one is called ``whole``, or a material is unknown or unsafe.

    Examples
    --------
    >>> from dyelab import plan
    >>> made = plan.printed_cloth("P-01", {"leaf": "aluminium acetate 5", "ground": "none"})
    >>> made["steps"][["order", "kind", "material", "area"]]
       order      kind           material   area
    0      1     scour           soda ash  whole
    1      2   mordant  aluminium acetate   leaf
    2      3  modifier         wheat bran  whole
    3      4       dye             madder  whole
    """
    if not areas or "whole" in areas:
        raise InputError("name each area of the cloth, such as leaf and stem; whole is all of it.")
    soap = scour_of(fibre)
    steps = [_row(1, "scour", Level(soap.material, soap.dose), "whole", fibre)]
    for area, text in areas.items():
        for part in text.split("+"):
            pasted = level_of("mordant", part, listed)
            if pasted.name != "none":
                steps.append(_row(2, "paste", pasted, area, fibre))
    fixed, dyed = level_of("modifier", fixing, listed), level_of("dye", dye, listed)
    steps.append(_row(3, "fixing", fixed, "whole", fibre))
    put = put_on("dye", parts(dyed.name, dyed.dose), roles_of(listed))
    steps += [{"order": 4, **step, "area": "whole"} for step in in_turn(put, fibre)]
    rows = pd.DataFrame(steps).assign(swatch=swatch, state="planned")
    recipe.refuse(rows)
    rows["order"] = rows.groupby("area").cumcount() + rows["order"] * 10
    rows["order"] = rows["order"].rank(method="dense").astype(int)
    rows["bath"] = _baths(swatch, rows)
    cloth = {"swatch": swatch, "fibre": fibre, "form": "cloth", "mass_g": mass_g, "series": series}
    bare = "; ".join(area for area in areas if area not in set(rows["area"]))
    return {"swatches": pd.DataFrame([{**cloth, "bare_areas": bare}]), "steps": rows}


def _baths(swatch: str, rows: pd.DataFrame) -> list[str]:
    """A cloth's own pots, and its areas' pastes: what the record is asked for by."""
    taken: set[str] = set()
    found: list[str] = []
    for kind, area in zip(rows["kind"], rows["area"], strict=True):
        named = f"{swatch} {kind if area == 'whole' else area}"
        if area == "whole":
            named = found[-1] if kind == "assist" else table.free_name(named, taken, " {}")
        found.append(named)
    return found


def _row(order: int, kind: str, level: Any, area: str, fibre: str) -> dict[str, Any]:
    return {"order": order, **step_of(kind, level.name, level.dose, fibre), "area": area}
