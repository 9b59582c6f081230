"""Recipes: materials and their chemistry, sums on weight of fibre, sense, and cautions."""

from dyelab.recipe.formula import metal_percent, molar_mass
from dyelab.recipe.materials import find, known_name, materials, refuse_unsafe

__all__ = [
    "find",
    "known_name",
    "materials",
    "metal_percent",
    "molar_mass",
    "refuse_unsafe",
]
