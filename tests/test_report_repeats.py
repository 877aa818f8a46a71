"""The report says a thing once."""

import pytest

from screenplan.outputs.report_repeats import AS_ABOVE, not_said, say_once
from screenplan.outputs.report_tables import Heading, Table

LONG = "Slowly, over the root ball; none while the soil is moist or frozen"
RULE = "Not while birds nest, March to August (by the Wildlife Act): the law where you are decides"


def table(*cells, long=True):
    heads = [Heading("task"), Heading("how", long=long)]
    return Table("t", "T", heads, [[str(number), cell] for number, cell in enumerate(cells)])


def cells(tables):
    return [row[1] for made in say_once(tables) for row in made.rows]


def test_a_sentence_under_itself_is_as_above_and_a_short_word_stays():
    assert cells([table(LONG, LONG, LONG)]) == [LONG, AS_ABOVE, AS_ABOVE]
    assert cells([table("flag", "flag", long=False)]) == ["flag", "flag"]
    # The first row of another table has nothing above it.
    assert cells([table(LONG), table(LONG)]) == [LONG, LONG]


def test_a_rule_that_was_told_is_told_again_without_its_source():
    assert cells([table(f"Cut it. {RULE}"), table(f"Into green twigs only. {RULE}")]) == [
        f"Cut it. {RULE}", "Into green twigs only. Not while birds nest, March to August",
    ]  # fmt: skip


def test_a_caution_stands_whole_at_each_task():
    caution = f"{RULE}. Watch: Have buried lines located (by the service) before any digging"
    assert cells([table(caution, caution)]) == [caution, caution]


def test_the_tables_that_were_given_stay_as_they_are():
    given = table(LONG, LONG)
    say_once([given])
    assert given.rows == table(LONG, LONG).rows


@pytest.mark.parametrize(
    ("note", "left"),
    [
        ("9 plants close 4 views; they cost 90.", False),
        ("Design: 9 plants close 4 views", False),
        ("Design: 9 plants close 5 views", True),
        ("Terrain: cells of 2 m", True),
    ],
)
def test_notes_that_a_table_holds_are_left_out(note, left):
    held = Table("design", "", [], [], notes=["9 plants close 4 views; they cost 90: proven"])
    assert not_said([note], [held]) == [note] * left
