"""Ink formulas for a screen-printing shop: from measured drawdowns to a weigh-out ticket.

The walk through one day's work, module by module:

    files.shop      read_shop(folder)            the shop, its inks, its drawdowns
    match           fit_shop(shop)               K and S of every ink
                    match(shop, fits, target)    starting formulas
    ticket          ticket(formula, ...)         what to weigh
    judge           check(target, readings)      is it near enough?
    correct         correct(palette, ...)        what to add

Nothing is imported here, so that ``import matchkit`` costs nothing.
"""

__version__ = "0.1.0"
