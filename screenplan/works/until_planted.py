"""The tasks up to the day on which the plants are set, and the fence after it: what takes days takes as many as the crew needs.

The ground that will be broken is marked first, then buried lines are asked for, then it is dug while the
request holds, or a renewal of it (`screenplan.works.locating`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence

from screenplan.contracts.task_times import YEAR_DAYS
from screenplan.plan.planting import Plants
from screenplan.planting.raised import Raised, time_to_raise
from screenplan.rules.limit_kinds import LocateRequest, Nesting
from screenplan.works.durations import Durations
from screenplan.works.handling import handling_of, roots_of
from screenplan.works.kinds import Kind
from screenplan.works.locating import Request
from screenplan.works.ordering import Order
from screenplan.works.planting_months import Window, window_words
from screenplan.works.quantities import DIG
from screenplan.works.rates import BUILT
from screenplan.works.seasons import Seasons, nesting_said
from screenplan.works.tasks import COMMON, task

#: Days before planting on which the boundary is settled, at the latest.
SETTLE_DAY = -28


def raising_of(kinds: Sequence[Kind], plants: Plants) -> Raised | None:
    """Tell how long the slowest of the kinds that are raised takes; None if they are bought."""
    if plants.raised == "bought":
        return None
    every = [time_to_raise(kind.species, kind.height_m, plants) for kind in kinds]
    return max(every, key=lambda stage: stage.years)


def raise_tasks(raising: Raised | None, way: str) -> Iterator[dict]:
    """Yield the tasks of raising one's own plants; none if they are bought."""
    if raising is None:
        return
    begin = -round(raising.years * YEAR_DAYS)
    cuttings = way == "cuttings"
    yield task(
        "raise", "Take the cuttings" if cuttings else "Sow", begin,
        (
            "From healthy plants of the kind; when in the year and how, by the kind: ask a nursery near you"
            if cuttings
            else "When in the year, and whether the seed must be kept cold before, by the kind: ask a nursery near you"
        ),
        item="cutting" if cuttings else "seed", source=f"years until planting: {raising.source}; {COMMON}",
    )  # fmt: skip
    yield task(
        "pot", "Pot them on", begin + round(min(1.0, raising.years / 2.0) * YEAR_DAYS),
        "When roots fill the pot or the bed: each into a pot of its own, or farther apart; leave out the weak ones",
    )  # fmt: skip


def delay_of(
    raising: Raised | None, kinds: Sequence[Kind], way: str, seasons: Seasons, today: dt.date
) -> Iterator[str]:
    """Say in one sentence when what is raised is ready, and what that delays."""
    if raising is None:
        return
    tall = max(kind.height_m for kind in kinds)
    ready = f"Raised from {way}, plants of {{{tall:g} m}} are ready after {raising.years:.1f} years ({raising.source})"
    days = round(raising.years * YEAR_DAYS)
    if seasons.start is None:
        yield (
            f"{ready}: planting, and with it every year that this plan tells, comes so much later than with "
            "bought stock of that height, if they are begun today"
        )
        return
    late = (today + dt.timedelta(days=days) - seasons.start).days
    if late <= 0:
        yield (
            f"{ready}: begun by {seasons.said(-days)} they delay nothing, and the planting on "
            f"{seasons.said(0)} stands"
        )
        return
    then = today + dt.timedelta(days=days)
    yield (
        f"{ready}: begun today they are ready on {then.isoformat()}, {late / YEAR_DAYS:.1f} years after the "
        f"planting on {seasons.said(0)}; every year that this plan tells comes so much later, unless stock is bought"
    )


def tasks_before(
    asked: LocateRequest,
    birds: Nesting,
    seasons: Seasons,
    work: Durations,
    *,
    ordered: int,
    fenced: bool,
    built: Sequence[str] = (),
    planted: bool = True,
) -> Iterator[dict]:
    """Yield what is done before the holes: rules, marking, asking for lines, pegs, turf, and what is built first.

    Parameters
    ----------
    asked : LocateRequest
        How long a request holds.
    birds : Nesting
    seasons : Seasons
    work : Durations
    ordered : int
        The day on which plants are ordered; the rules are asked for a week before.
    fenced : bool
        Whether a fence is set too.
    built : sequence of str
        What the design builds first: fence, wall or trellis.
    planted : bool
        Whether anything is planted; if not, there are no strip, no holes and no pegs but those of what is built.
    """
    lines = Request.before(work.first_dig, asked)
    yield task(
        "ask", "Settle the boundary and the rules", min(SETTLE_DAY, lines.mark_day - 7, ordered - 7),
        "Find the boundary's pins or have it surveyed, ask for local limits on hedges and fences, look "
        "for overhead lines and for sight at the road, and tell the neighbours",
    )  # fmt: skip
    if planted:
        yield task(
            "cut", "Cut what grows on the strip", seasons.before(lines.mark_day - 2, birds.cleared),
            f"Shrubs and tall growth, to the ground and no deeper; keep it mown until planting. {nesting_said(birds, seasons, clearing=True)}",
            source=f"{COMMON}; nesting: {birds.source}",
        )  # fmt: skip
    things = ["each hole at its full width", "each peg", *["each post of the fence"] * fenced]
    things = [*things * planted, *(f"the line of the new {option}" for option in built)]
    edges = ", and the edges of the strip" if planted else ""
    yield task(
        "mark", "Mark all that will be broken", lines.mark_day,
        f"White paint, no peg and no flag yet: {', '.join(things)}{edges}. Two people, two tapes; close the tape on the far "
        "end before the first mark",
        item="flag" if planted else None,
        source="Illinois, the one-call centre's own pages (read): the ground is marked in white before lines are asked for",
    )  # fmt: skip
    yield locate("locate", "Have buried lines located", lines, asked)
    until, late = seasons.said(lines.last_day), lines.last_day < work.last_dig
    more = (
        f"Work goes on after it has lapsed, on {until}: ask anew by now"
        if late
        else f"Only if something is still to be dug then: the request holds up to {until} at most"
    )
    renewed = lines.renewals(work.last_dig)
    if renewed > 1:
        more = f"{more}, and again every {lines.renewed_every} days while anything is dug"
    yield task(
        "renew", "Renew the request before it lapses" if late else "Renew the request, if you dig later than planned",
        lines.renew_day,
        f"{more}. Renewing takes as long as asking; a mark that can no longer be read is asked for at once",
        source=f"{asked.source} ({asked.status}), the day of asking counted",
        caution=_LAPSED, times=renewed, every_days=lines.renewed_every if renewed > 1 else None,
    )  # fmt: skip
    if planted:
        yield task(
            "pegs", "Set the pegs and flag every plant", work.pegs.first_day,
            f"Two people, two tapes; close the tape on the far peg before the first flag{work.said(work.pegs)}",
            item="peg", until=work.pegs.last_day, hours=work.pegs.hours,
            caution="Driving a peg is digging: " + f"{DIG}".replace("Have", "have", 1),
        )  # fmt: skip
        yield task(
            "clear", "Lift the turf of the strip", work.clear.first_day,
            "First take each locator's mark over to the sides of the strip: its paint and flags go with the "
            "turf. Lift grass and weeds, no deeper; look for nests in the grass before" + work.said(work.clear),
            caution=DIG, item="clearing", until=work.clear.last_day, hours=work.clear.hours,
        )  # fmt: skip
    for option in built:
        yield task(
            "build", f"Build the new {option}", work.first_dig,
            f"From this day on, while the request for buried lines holds{', and before the plants stand in its way' * planted}. Set "
            "its pegs by the stake-out sheet, and stretch a line between them. Ask your builder how long it takes: no rate is known here",
            caution=DIG, item=f"{BUILT}{option}",
        )  # fmt: skip


#: At a request that may have lapsed.
_LAPSED = "Nothing is dug on a request that has lapsed"


def locate(key: str, name: str, lines: Request, asked: LocateRequest) -> dict:
    """Make the task of having buried lines located, on the days of a request."""
    return task(
        key, name, lines.ask_day,
        "Ask the one-call centre or the lines' owners to mark every buried line on the ground, private "
        f"lines too (garden lights, irrigation, septic), at least {asked.wait_working_days:g} working days "
        "before digging, and wait until all have answered. The request is taken to hold for "
        f"{asked.life_days:g} days, this one counted: ask which days hold where you are",
        source=f"{asked.source} ({asked.status}); tolerance zone 18 or 24 in each side: state one-call laws (read)",
        caution="No digging before every buried line is marked. Marks fade and lapse: ask again if the work is late",
        until=lines.answered_day,
    )  # fmt: skip


def setting_tasks(
    kinds: Sequence[Kind],
    windows: Sequence[Window],
    work: Durations,
    order: Order,
    *,
    mulched: bool,
    fenced: bool,
) -> Iterator[dict]:
    """Yield what is done round the day of planting: holes, plants, mulch and fence.

    Parameters
    ----------
    kinds : sequence of Kind
    windows : sequence of Window
        When they are set.
    work : Durations
    order : Order
        How many plants are spare.
    mulched, fenced : bool
        Whether there are mulch and a fence.
    """
    roots, handling = roots_of(kinds), handling_of(kinds)
    yield task(
        "dig", "Dig the holes", work.dig.first_day,
        f"As wide as the sheet says, no deeper than the {roots}; rough sides, firm bottom{work.said(work.dig)}",
        caution=DIG, item="hole", until=work.dig.last_day, hours=work.dig.hours,
    )  # fmt: skip
    months = window_words(windows)
    season = f". Best set in {months}; the local custom decides" if months else ""
    yield task(
        "plant", "Plant", 0, handling.says + season + order.spares_said() + work.said(work.plant), source=handling.source,
        item="plant", until=work.plant.last_day, hours=work.plant.hours,
    )  # fmt: skip
    if mulched:
        yield task(
            "mulch", "Mulch", work.mulch.first_day,
            "Even, to the depth on the sheet, kept off the stems" + work.said(work.mulch), item="mulch",
            caution="Never heap mulch against a stem", until=work.mulch.last_day, hours=work.mulch.hours,
        )  # fmt: skip
    if fenced:
        yield task(
            "fence", "Set the fence", work.fence.first_day,
            "Posts, braces, wire, gate; the same week, browsing starts at once" + work.said(work.fence),
            caution=DIG, item="fence_roll", until=work.fence.last_day, hours=work.fence.hours,
        )  # fmt: skip
