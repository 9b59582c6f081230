"""Mordant printing and painting: one cloth, several areas with steps of their own, one dye bath."""

from collections.abc import Mapping
from typing import Any

import pandas as pd

from dyelab import recipe
from dyelab.errors import InputError
from dyelab.plan.baths import scour_of, step_of
from dyelab.plan.factors import Level, level_of

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
        The bath that the whole cloth shares, and the one that fixes the mordants before it.

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
            put_on = level_of("mordant", part, listed)
            if put_on.name != "none":
                steps.append(_row(2, "paste", put_on, area, fibre))
    fixed, dyed = level_of("modifier", fixing, listed), level_of("dye", dye, listed)
    steps.append(_row(3, "fixing", fixed, "whole", fibre))
    steps.append(_row(4, "dye", dyed, "whole", fibre))
    rows = pd.DataFrame(steps).assign(swatch=swatch, state="planned")
    recipe.refuse(rows)
    rows["order"] = rows.groupby("area").cumcount() + rows["order"] * 10
    rows["order"] = rows["order"].rank(method="dense").astype(int)
    # A cloth's own pots, and its areas' pastes: what the record is asked for by.
    rows["bath"] = f"{swatch} " + rows["kind"].where(rows["area"].eq("whole"), rows["area"])
    cloth = {"swatch": swatch, "fibre": fibre, "form": "cloth", "mass_g": mass_g, "series": series}
    bare = "; ".join(area for area in areas if area not in set(rows["area"]))
    return {"swatches": pd.DataFrame([{**cloth, "bare_areas": bare}]), "steps": rows}


def _row(order: int, kind: str, level: Any, area: str, fibre: str) -> dict[str, Any]:
    return {"order": order, **step_of(kind, level.name, level.dose, fibre), "area": area}
