"""Formulas for a colour: of fresh ink, with a leftover in them, or for a print on a garment."""

from collections.abc import Callable, Mapping
from dataclasses import replace

from matchkit.arrays import Array
from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.words import direction
from matchkit.correcting.leftovers import WORTH, Use, away_from, use, which_bucket
from matchkit.correcting.mixes import letdowns_on_shelf, shelf_of
from matchkit.errors import InputError, did_you_mean
from matchkit.fitting.fit import Fit
from matchkit.inks.recipe import STEPS_TO_TRUST, letdowns_for
from matchkit.inks.shop import Shop
from matchkit.matching.garment import shows_through
from matchkit.matching.match import (
    Match,
    MoreStock,
    fit_for,
    fractions_for,
    match,
    stock_words,
    with_more_stock,
)
from matchkit.matching.probability import most_sensitive, spread_of
from matchkit.matching.rank import MOSTLY_CLEAR, Candidate
from matchkit.matching.solve import MOST, PARENTS
from matchkit.paper.jobsize import money_text
from matchkit.workflows.formulas import ANY_LEFTOVER, FoundFormula, FoundFormulas, Search
from matchkit.workflows.printed import PrintedOver, printed_fits
from matchkit.workflows.session import Notice, Session
from matchkit.workflows.wanted import Wanted

METAMERIC = 2.0  # times the tolerance, off under another light: worth a word
FINEST_G = 1e-4  # a balance that keeps no formula away

Fits = Mapping[str, Fit]


def find_formulas(
    session: Session,
    wanted: Wanted,
    search: Search | None = None,
    *,
    progress: Callable[[int, int], None] | None = None,
) -> FoundFormulas:
    """Formulas for a colour from the inks there are today.

    `progress` is called with how many sets of inks were looked at, and of how many.  Raises
    InputError for options that can't be met, such as a batch larger than the stock; a poor
    match is an answer.
    """
    search = search or Search()
    if search.printed and search.leftover is not None:
        raise InputError(
            "a print and a leftover can't be asked for together: leftovers are used up by what"
            " hides; leave out one of the two"
        )
    shop, target = session.shop, wanted.target
    fits = printed_fits(session, search.printed)
    found = match(shop, fits, target, search.choices, name=wanted.name, progress=progress)
    more, formulas, far, same = None, _fresh(shop, fits, target, found), None, None
    if search.leftover is None:
        more = with_more_stock(shop, fits, target, found, search.choices)
        same = None if search.printed else _same_colour(session, search, target, found)
    else:
        used, far = _with_leftovers(session, search, target, found)
        if used or search.leftover != ANY_LEFTOVER:
            formulas = used[: search.top]
    return FoundFormulas(
        wanted=wanted,
        search=search,
        shop=shop,
        match=replace(found, formulas=tuple(each.formula for each in formulas)),
        more=more,
        fits=fits,
        formulas=formulas,
        reach=_reach(found, target, shop, fits, search, more),
        notices=(
            *([_take_first(same, shop)] if same else []),
            *_notices(shop, search, target, found, more, formulas, far),
        ),
        same=same,
    )


def _fresh(shop: Shop, fits: Fits, target: Target, found: Match) -> tuple[FoundFormula, ...]:
    out = []
    for formula in found.formulas:
        palette = fit_for(fits, formula.inks).palette
        grams = sum(formula.grams) * fractions_for(palette, formula.inks, formula.grams)
        out.append(
            FoundFormula(
                formula=formula,
                palette=palette,
                sensitive=most_sensitive(palette, grams, target),
                notices=warnings_of(formula, target, shop),
            )
        )
    return tuple(out)


# ---- with a leftover ------------------------------------------------------------------------


def _with_leftovers(
    session: Session, search: Search, target: Target, plain: Match
) -> tuple[tuple[FoundFormula, ...], Use | None]:
    """The formulas that take the most of a leftover, if near enough; else the nearest there is."""
    shop, name = session.shop, search.leftover
    if name in search.without:
        raise InputError(f"{name!r} is to be used and to be left out; leave out one of the two")
    there = f"the mixes are {', '.join(mix.name for mix in shop.mixes) or 'none'}"
    out: list[tuple[Use, Fit]] = []
    for fit in session.fits_today.values():
        mixes = [
            mix
            for mix in shop.mixes
            if set(mix.inks) <= set(fit.palette.names)
            and name in (ANY_LEFTOVER, mix.name)
            and mix.name not in search.without
        ]
        if mixes:
            spread = spread_of(fit.palette, fit.error, shop.resolution_g)
            shelf = shelf_of(fit.palette, mixes, spread)
            session.note("mix_left_out", *shelf.notes)
            cost = plain.formulas[0].cost_per_kg
            if name == ANY_LEFTOVER:
                uses = which_bucket(
                    shelf, target, spread, batch_g=search.batch_g, resolution_g=shop.resolution_g,
                    tolerance_de00=shop.tolerance_de00, max_inks=search.max_inks,
                    without=search.without, fresh_cost_per_kg=cost,
                )  # fmt: skip
            else:
                assert name is not None
                uses = use(
                    shelf, name, target, spread, batch_g=search.batch_g,
                    resolution_g=shop.resolution_g, tolerance_de00=shop.tolerance_de00,
                    max_inks=search.max_inks, top=search.top, without=search.without,
                    fresh_cost_per_kg=cost,
                )  # fmt: skip
            out += [(each, fit) for each in uses]
    if not out and name:
        hint = did_you_mean(name, [mix.name for mix in shop.mixes])
        raise InputError(f"no formula takes the leftover {name!r}; {there}{hint}")
    if not out and not shop.mixes:
        raise InputError("no mix is on the shelf; write it into mixes.csv")
    near = [
        FoundFormula(
            formula=each.candidate,
            palette=fit.palette,
            used=each,
            notices=(*_used(each, target, shop), *warnings_of(each.candidate, target, shop)),
        )
        for each, fit in out
        if each.within or (name and each.candidate.de00[0] <= shop.tolerance_de00)
    ]
    far = min((each for each, _ in out), key=lambda e: float(e.candidate.de00[0]), default=None)
    return tuple(near), far


def _used(each: Use, target: Target, shop: Shop) -> list[Notice]:
    """How much of a leftover a formula takes; where it is not near enough, how far off."""
    money = "" if each.saved is None else money_text(abs(each.saved), shop.currency)
    saved = "" if each.saved is None else f", {money} of new ink saved"
    if each.saved is not None and each.saved <= 0:
        saved = f", but its new ink costs {money} more than a formula without it"
    left = "" if each.left_g is None else f", {each.left_g:.0f} g of it left"
    used = f"{each.name}: {each.used_g:.2f} g used ({100 * each.share:.0f} %){left}{saved}."
    notices = [Notice(code="leftover_used", text=used)]
    if not each.within:
        away, light = float(each.candidate.de00[0]), target.light_names[0]
        far = f"dE00 {away:.2f} under {light} is over half the tolerance of {shop.tolerance_de00:g}"
        notices.append(Notice(code="not_near_enough", text=f"Not near enough: {far}."))
    return notices


# ---- what a person must know ----------------------------------------------------------------


def warnings_of(formula: Candidate, target: Target, shop: Shop) -> tuple[Notice, ...]:
    """What speaks against weighing a formula just so."""
    notices = [Notice(code="mostly_clear", text=MOSTLY_CLEAR)] if formula.mostly_clear else []
    worst = int(formula.de00.argmax())
    off, tolerance = float(formula.de00[worst]), shop.tolerance_de00
    if formula.de00[0] <= tolerance and off > METAMERIC * tolerance:
        text = (
            f"Under {target.light_names[worst]} it is off by dE00 {off:.1f}: agree which light"
            " counts, or list first what is nearest under the worst light."
        )
        notices.append(Notice(code="other_light", text=text))
    notices += [Notice(code="small_weight", text=line) for line in _small_weights(formula, shop)]
    return tuple(notices)


def _small_weights(formula: Candidate, shop: Shop) -> list[str]:
    """A line for each ink that the balance can't show well, with the way out."""
    known = {ink.name: ink for ink in shop.inks}
    if not set(formula.inks) <= set(known):  # a leftover in it: its inks are mixed already
        return []
    inks, step = [known[name] for name in formula.inks], shop.resolution_g
    ways = {way.ink: way for way in letdowns_for(inks, formula.grams, step)}
    on_shelf = letdowns_on_shelf(inks, formula.grams, shop.mixes, step)
    ways |= {way.ink: way for way in on_shelf}
    lines = []
    for ink, grams in zip(formula.inks, formula.grams, strict=True):
        if grams >= STEPS_TO_TRUST * step * (1 - 1e-9):
            continue
        out = "make a bigger batch, or weigh it on a finer balance"
        if ink in ways:
            weigh = ", ".join(f"{name} {g:g} g" for name, g in ways[ink].grams)
            out = f"weigh it as a letdown instead: {weigh}"
        lines.append(f"{ink}: {grams:g} g is under {STEPS_TO_TRUST} steps of the balance; {out}.")
    return lines


def _reach(
    found: Match, target: Target, shop: Shop, fits: Fits, search: Search, more: MoreStock | None
) -> Notice:
    """Whether the inks can reach the target, and if not, how far off and which way they end."""
    best, light = found.formulas[0], target.light_names[0]
    away = f"dE00 {best.de00[0]:.2f} under {light}"
    wanting = f"Still needed: {missing(best.lab[0], target.lab[0])}."
    if best.de00[0] <= shop.tolerance_de00:
        if found.in_gamut:
            return Notice(code="in_reach", text="these inks can reach it.")
        text = f"at the edge of what these inks can reach, but within tolerance: {away}. {wanting}"
        return Notice(code="within_tolerance", text=text)
    agree = "The nearest formulas follow; agree on the colour before anything is mixed."
    then = f"The first formula is {away}. {wanting} {agree}"
    if not found.in_gamut and more and more.in_gamut:
        text = f"out of reach with the stock there is. {then}"
        return Notice(code="out_of_reach_with_stock", text=text)
    if not found.in_gamut:
        return Notice(code="out_of_reach", text=f"outside what these inks can reach. {then}")
    finer = match(replace(shop, resolution_g=FINEST_G), fits, target, search.choices)
    if finer.formulas[0].de00[0] <= shop.tolerance_de00:
        text = (
            "these inks can reach it, but not by weights that a balance of"
            f" {shop.resolution_g:g} g shows in {search.batch_g:g} g: mix more of it. {then}"
        )
        return Notice(code="too_small_batch", text=text)
    inks = "one ink" if search.max_inks == 1 else f"{search.max_inks} inks"
    text = f"these inks can reach it, but not with {inks} at most. {then}"
    return Notice(code="too_few_inks", text=text)


def missing(lab: Array, target: Array) -> str:
    """Which way a colour (3,) would have to move to be the target (3,), in words.

    >>> from numpy import array
    >>> missing(array([50.0, 10.0, 10.0]), array([50.0, 20.0, 20.0]))
    'much more chroma'
    """
    words = direction(lab, target)
    return words.replace("cleaner", "more chroma").replace("duller", "less chroma")


def _same_colour(session: Session, search: Search, target: Target, found: Match) -> Use | None:
    """What takes the most of a leftover that is in tolerance as it stands; None without one."""
    shop, uses = session.shop, []
    for fit in session.fits_today.values():
        held = [m for m in shop.mixes if m.stock_g and {*m.inks} <= {*fit.palette.names}]
        mixes = [mix for mix in held if mix.name not in search.without]
        if not (mixes and found.formulas):
            continue
        spread = spread_of(fit.palette, fit.error, shop.resolution_g)
        shelf = shelf_of(fit.palette, mixes, spread)
        for mix in shelf.mixes:
            if away_from(shelf, mix.name, target) <= shop.tolerance_de00:
                named = replace(search, leftover=mix.name)
                formulas, _ = _with_leftovers(session, named, target, found)
                uses += [each.used for each in formulas if each.used and each.used.share >= WORTH]
    return max(uses, key=lambda each: each.used_g, default=None)


def _take_first(same: Use, shop: Shop) -> Notice:
    money = money_text(same.saved or 0.0, shop.currency)
    saved = f"; {money} saved" if same.saved and same.saved > 0 else ""
    text = (
        f"{same.name} on the shelf is this colour already: {same.used_g:.0f} g of it and"
        f" {same.fresh_g:.0f} g of new ink make the batch{saved}. Ask for formulas with it first."
    )
    return Notice(code="same_leftover", text=text)


def _notices(
    shop: Shop,
    search: Search,
    target: Target,
    found: Match,
    more: MoreStock | None,
    formulas: tuple[FoundFormula, ...],
    far: Use | None,
) -> list[Notice]:
    """What is to be known of all formulas; `far` is the nearest with a leftover in it."""
    told = []
    if more:
        words = stock_words(more, found, target)
        told.append(Notice(code="stock", text=f"{words[0].upper()}{words[1:]}."))
    if search.leftover is not None and not any(each.used for each in formulas):
        told.append(Notice(code="no_leftover", text=_no_leftover(search, target, found, far)))
    if search.printed:
        told += _print_notices(shop, search.printed, target, formulas[0])
    if not found.exhaustive:
        text = (
            f"So many inks have more than {MOST:,} subsets of one size: not all were looked at,"
            f" only those that add an ink to one of the {PARENTS:,} best formulas of one ink"
            " fewer. Leave some inks out, or allow fewer, and all of them are looked at."
        )
        told.append(Notice(code="not_exhaustive", text=text))
    if formulas:
        told.append(_lots_spread(formulas))
    if 0 < len(formulas) < search.top:
        told.append(Notice(code="short_list", text=_short_list(search, formulas)))
    return told


def _no_leftover(search: Search, target: Target, found: Match, far: Use | None) -> str:
    """That no leftover will do, how near the nearest comes, and what is listed instead."""
    what = search.leftover or "No leftover"
    how = "can't" if search.leftover else "can"
    near = (
        ""
        if far is None
        else (
            f": the nearest, with {far.name}, is dE00 {float(far.candidate.de00[0]):.2f} under"
            f" {target.light_names[0]}"
        )
    )
    then = "Look for formulas without it." if search.leftover else "These formulas are without one."
    return f"{what} {how} be brought near enough to {found.target}{near}. {then}"


def _print_notices(
    shop: Shop, printed: PrintedOver, target: Target, best: FoundFormula
) -> list[Notice]:
    """Whether the ground shows through the best print, and what its chance counts."""
    formula, told = best.formula, []
    c = fractions_for(best.palette, formula.inks, formula.grams)
    shows = shows_through(best.palette, c, target.lights[0], target.observer)
    if formula.de00[0] > shop.tolerance_de00 and shows > shop.tolerance_de00:
        text = (
            "It will not cover: what is below shows through. Even formula 1 is then"
            f" dE00 {shows:.1f} from its colour where it hides. Print it thicker (a second stroke"
            " doubles the thickness) or put white below it; `matchkit cover` compares both."
        )
        told.append(Notice(code="shows_through", text=text))
    strays = f"a thickness that varies by {100 * printed.thickness_spread:g} % from print to print"
    card = f"Matched as a print, {printed.words}. A drawdown of it on a card has another colour"
    return [
        *told,
        Notice(code="thickness_spread", text=f"Chances allow for {strays} (standard deviation)."),
        Notice(code="on_card", text=f"{card}: prove it on the garment."),
    ]


def _lots_spread(formulas: tuple[FoundFormula, ...]) -> Notice:
    """What the chances allow for, which only the shop can know, or its book has learned."""
    inks = [ink for each in formulas for ink in each.palette.inks]
    spreads = sorted({round(ink.lot_spread_percent, 1) for ink in inks})
    by = f"{spreads[0]:g}" if len(spreads) == 1 else f"{spreads[0]:g} to {spreads[-1]:g}"
    text = f"Chances allow for lots differing in strength by {by} % (lot_spread_percent)."
    return Notice(code="lots_spread", text=text)


def _short_list(search: Search, formulas: tuple[FoundFormula, ...]) -> str:
    """Why a list is shorter than it was asked for."""
    n = len(formulas)
    head = f"Only {n} formula{'s' if n > 1 else ''} ({search.top} asked for): "
    if formulas[0].used and search.leftover == ANY_LEFTOVER:
        return head + "one for each mix on the shelf that can be brought near enough."
    if formulas[0].used:
        return head + "others add inks or are farther off."
    poor = (
        ""
        if search.every
        else ", or are as near but less sure or mostly clear (list all to see those)"
    )
    return f"{head}others add inks without coming closer{poor}."
