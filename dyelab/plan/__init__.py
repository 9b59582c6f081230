"""A swatch series: factors, controls, replicates, random order, baths and their sheets."""

from dyelab.plan.design import all_terms, balance, cannot_tell, fraction, model_matrix, optimal
from dyelab.plan.factors import FACTORS, Level, crossed, levels
from dyelab.plan.series import Series, into, series, totals

__all__ = [
    "FACTORS",
    "Level",
    "Series",
    "all_terms",
    "balance",
    "cannot_tell",
    "crossed",
    "fraction",
    "into",
    "levels",
    "model_matrix",
    "optimal",
    "series",
    "totals",
]
