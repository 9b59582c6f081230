"""Figures from results. They draw what they are given and compute nothing of their own."""
