"""Untried recipes: see a colour, find a recipe, choose the next swatches, see the whole reach."""

from dyelab.panel.explore.explorer import Explorer, panel
