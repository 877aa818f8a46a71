"""The laws of places that a plan can name: which there are, and what each says."""

from __future__ import annotations

from typing import Any

from screenplan.commandline.printing import show_json, show_table
from screenplan.ground.errors import refuse
from screenplan.ground.said import in_units, said
from screenplan.plan.values import instead_of
from screenplan.rules.laws import Law, load_laws
from screenplan.rules.ruleset import Rule, load_rules
from screenplan.rules.told import setback_text

_NOTE = (
    "What was read in the texts, not advice on the law where you are: laws change, and local rules often "
    'come first. Ask before you plant. A plan names one: [setbacks] law = "NAME"'
)


def show_laws(*, us: bool, as_json: bool) -> None:
    """List the laws that there are."""
    laws = load_laws()
    if as_json:
        show_json({key: _facts(law) for key, law in laws.items()})
        return
    units = "us" if us else "metric"
    show_table(
        "Laws of places",
        ["name", "place", "says", "known by"],
        [
            [key, law.name, in_units(_told(law), units), f"{law.status}, {law.date}"]
            for key, law in laws.items()
        ],
        note=f"{_NOTE}; screenplan rules --law NAME lists what one says",
    )


def show_law(name: str, *, us: bool, as_json: bool) -> None:
    """List what one law says, with its articles and what to ask.

    Raises
    ------
    InputError
        If there is none of that name.
    """
    laws = load_laws()
    if name not in laws:
        raise refuse(f"there is no law '{name}'", instead_of(name, laws, "screenplan rules --laws"))
    law = laws[name]
    if as_json:
        show_json(_facts(law))
        return
    units = "us" if us else "metric"
    rows = [
        [rule.key, setback_text(rule), rule.reason, rule.source.removeprefix(f"{law.law}, ")]
        for rule in rules_of(law)
    ]
    rows += [["", text, "", law.heights_article] for text in _heights(law)]
    show_table(
        f"{law.name}: {law.law}",
        ["rule", "figures", "why", "article"],
        [[in_units(said(cell), units) for cell in row] for row in rows],
        note=f"{law.ask}.\n{law.status.capitalize()} on {law.date} at {law.read_at}. {_NOTE.split('. A plan')[0]}. "
        f'A plan names it: [setbacks] law = "{law.key}"',
    )


def rules_of(law: Law) -> list[Rule]:
    """Give the rules that a law adds."""
    return [rule for rule in load_rules(named=law.rules()) if rule.key in law.setbacks]


def _told(law: Law) -> str:
    """Write what a law says in a few words."""
    told, rules = _heights(law), rules_of(law)
    # The least of each: that of the lowest plant for which it holds.
    least = [rule.stem_distance_m(rule.above_mature_height_m, 0.0, 0.0) for rule in rules]
    if any(rule.per_mature_height for rule in rules):
        told.append(
            f"distances from the line that grow with the height, from {{{min(least):g} m}} on"
        )
    elif len(set(least)) > 1:
        told.append(
            f"{{{min(least):g} to {max(least):g} m}} from the line, by height or by what it is"
        )
    elif least:
        told.append(f"{{{least[0]:g} m}} from the line")
    return said("; ".join(told))


def _heights(law: Law) -> list[str]:
    figures = (
        ("at most {{{:g} m}} tall", law.most_height_m),
        ("at most {{{:g} m}} tall at a road", law.most_height_at_road_m),
        ("a neighbour may complain of what is taller than {{{:g} m}}", law.complaint_above_m),
    )
    return [text.format(round(metres, 3)) for text, metres in figures if metres is not None]


def _facts(law: Law) -> dict[str, Any]:
    return {
        **law.model_dump(exclude={"setbacks"}),
        "rules": [
            {
                "rule": rule.key,
                "says": in_units(setback_text(rule)),
                "reason": in_units(rule.reason),
                "source": rule.source,
            }
            for rule in rules_of(law)
        ],
    }
