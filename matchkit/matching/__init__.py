"""Formulas for a target: the solver, ranking, comparing, chances, prints."""
