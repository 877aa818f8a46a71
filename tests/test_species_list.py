"""The list of species: how large they are when, when a row of them closes, and which fit a site."""

import json
import re

import numpy as np
import pytest
from click.testing import CliRunner

from screenplan.commandline.main import main
from screenplan.commandline.species_list import find_species
from screenplan.contracts import GROWTHS
from screenplan.ground.errors import InputError
from screenplan.planting.growth import TYPICAL, height_at, spread_at
from screenplan.planting.prospects import LAST_TOLD, prospect_of
from screenplan.planting.species import load_species

TABLE = load_species()


def run(*options):
    done = CliRunner().invoke(main, ["species", *options])
    assert done.exit_code == 0, done.output
    return done.output


@pytest.mark.parametrize("key", ["thuja_occidentalis", "picea_pungens", "prunus_laurocerasus"])
def test_sizes_and_years_are_those_of_the_growth(key):
    species = TABLE[key]
    told = prospect_of(species)
    assert told.years == (5, 10, 20)
    assert told.spacing_m == species.usual_spacing_m
    years = np.arange(LAST_TOLD + 1)
    for g, growth in enumerate(GROWTHS):
        height = height_at(species, years, growth=growth)
        width = spread_at(species, height, growth)
        assert told.height_m[g] == pytest.approx(height[[5, 10, 20]])
        assert told.width_m[g] == pytest.approx(width[[5, 10, 20]])
        # Neighbours s apart meet up to h (1 - (s/w)^(1/p)): where w/2 u^p = s/2. To within the lines in which
        # a crown with an exponent is taken.
        reach = np.where(
            width > told.spacing_m,
            height * (1 - (told.spacing_m / width) ** (1 / species.exponent(growth))),
            0,
        )
        first = int(np.argmax(reach >= 1.8))
        assert told.closes[g] is not None
        assert abs(told.closes[g] - first) <= 1


def test_species_are_chosen_by_zone_and_height():
    cold = find_species(zone=4)
    assert 5 < len(cold) < len(TABLE)
    assert all(species.hardiness_zones[0] <= 4 <= species.hardiness_zones[1] for species, _ in cold)
    # They root by that zone: slower than in a mild one.
    assert {species.rooting_zone for species, _ in cold} == {4}
    mild = {species.key: told for species, told in find_species(zone=7)}
    shared = [(told, mild[species.key]) for species, told in cold if species.key in mild]
    assert shared
    assert all((slow.height_m <= quick.height_m + 1e-9).all() for slow, quick in shared)
    tall = find_species(height="6 m")
    assert 0 < len(tall) < len(TABLE)
    assert all(told.closes[TYPICAL] is not None for _, told in tall)
    assert {species.key for species, _ in find_species(height="2 m")} > {
        species.key for species, _ in tall
    }
    with pytest.raises(InputError, match="'6' has no unit"):
        find_species(height="6")


def test_the_command_prints_them_for_people_and_for_programs():
    listed = json.loads(run("--zone", "5", "--json"))
    row = listed["picea_pungens"]
    assert row["spacing_source"] == "custom"
    assert row["grades"]["height"] == "measured"
    assert row["growth"]["typical"]["height_m"] == pytest.approx(
        height_at(load_species(zone=5)["picea_pungens"], [5, 10, 20]).tolist()
    )
    assert "prunus_lusitanica" not in listed
    every = run("--json")
    assert set(json.loads(every)) == set(TABLE)
    # Quantities of sentences have lost their braces: those that are left hold keys.
    assert not re.search(r"\{[\d.]", every)
    assert any(
        "0.61 m deep" in text for text in json.loads(every)["phyllostachys_aurea"]["warnings"]
    )
    printed = run("--us")
    assert "custom" in printed
    assert "growth" in printed
