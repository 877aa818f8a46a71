"""Which column is meant: by name and by values; two that would do are asked for."""

import geopandas as gpd
import pandas as pd
import pytest
from click.testing import CliRunner
from site_layers import UTM, box

from screenplan.commandline import main as main_module
from screenplan.commandline.gathering import Given
from screenplan.commandline.guessing import guess_columns, guess_missing
from screenplan.commandline.main import main
from screenplan.commandline.starting import start_plan


def guess(name, **options):
    columns = {key: options.pop(key) for key in list(options) if isinstance(options[key], list)}
    return guess_columns(name, pd.DataFrame(columns), **options)


def test_a_column_that_is_the_same_for_all_rows_is_no_id():
    found = guess("parcels", PIN=["7", "7"], localId=["a", "b"])
    assert found.columns == {"parcel_id": "localId"}
    assert found.said == [
        "did not take 'PIN' as parcel_id: it is '7' in all rows",
        "took 'localId' as parcel_id (the data set's own identifier, by INSPIRE)",
    ]
    assert guess("parcels", PIN=["7", None]).columns == {}
    # One row cannot tell.
    assert guess("parcels", PIN=["7"]).columns == {"parcel_id": "PIN"}
    # Nor can the only column of a file be one then.
    assert guess("parcels", plot=["7", "7"]).columns == {}


def test_two_columns_that_would_do_are_asked_for():
    both = {"APN": ["1-1", "1-2"], "PIN": ["77", "78"]}
    found = guess("parcels", **both)
    assert found.columns == {}
    (problem,) = found.problems
    assert str(problem) == (
        "key layers.parcels.columns.parcel_id: 2 columns could be the parcel_id of the parcels: 'APN' (an assessor's "
        "parcel number; such as 1-1, 1-2) and 'PIN' (a parcel identification number; such as 77, 78). Name the one that "
        'is meant with --id-column, or under [layers.parcels]: columns = { parcel_id = "APN" }.'
    )
    # The id that is looked for tells, and so does the person.
    assert guess("parcels", **both, wanted="78").columns == {"parcel_id": "PIN"}
    assert guess("parcels", **both, ask=lambda _, options: options[1]).columns == {
        "parcel_id": "PIN"
    }
    assert not guess("parcels", **both, named={"parcel_id": "PIN"}).columns
    # Columns of the same values are one.
    assert guess("parcels", APN=["1", "2"], PIN=["1", "2"]).columns == {"parcel_id": "APN"}


def test_what_things_are_called_is_not_asked_for():
    found = guess(
        "roads",
        Street=["Alpine St", None],
        Label=["Alpine Street", "x"],
        ID=["a", None],
        osm_id=["1", "2"],
    )
    assert found.columns == {"name": "Street", "road_id": "osm_id"}
    assert not found.problems
    assert not any("did not" in said for said in found.said)


def test_two_columns_of_heights_are_asked_for():
    found = guess("buildings", HEIGHT=[5.0, 6.0], BLDG_HT=[16.0, 20.0])
    (problem,) = found.problems
    assert "2 columns could be the height_m of the buildings: 'HEIGHT' (the height" in problem.what
    assert (
        problem.mend
        == 'Name the one that is meant under [layers.buildings]: columns = { height_m = "HEIGHT" }'
    )


def test_a_column_whose_values_cannot_be_meant_is_not_taken():
    found = guess("buildings", HEIGHT=["tall", "5"], NB_ETAGES=[2, None], USAGE1=["Annexe", None])
    assert found.columns == {"storeys": "NB_ETAGES", "kind": "USAGE1"}
    assert "did not take 'HEIGHT' as height_m: 'tall' in it cannot be read as one" in found.said
    assert guess("buildings", HEIGHT=[None, None]).columns == {}


def test_a_plan_in_feet_wants_the_unit_of_heights():
    found = guess("buildings", HEIGHT=[16.0, 20.0], us=True)
    (problem,) = found.problems
    assert (
        "The column 'HEIGHT' holds lengths, and neither its name nor the plan says their unit"
        in problem.what
    )
    assert problem.key == "layers.buildings.units.height_m"
    for columns in ({"HGT_FT": [16.0]}, {"HEIGHT": ["16 ft"]}, {"other_tags": ['"height"=>"5"']}):
        assert not guess("buildings", **columns, us=True).problems
    assert guess("buildings", other_tags=['"height"=>"5"']).units == {"height_m": "m"}


def test_a_floor_without_a_unit_is_no_height_of_one():
    assert guess("buildings", FLOOR=[2, 1], Ridge=[8.0, 7.0]).columns == {"ridge_m": "Ridge"}


def test_of_a_long_file_the_first_rows_are_spoken_of():
    found = guess("parcels", PIN=["7"] * 2000, APN=[str(n) for n in range(2000)])
    assert "did not take 'PIN' as parcel_id: it is '7' in the first 2000 rows" in found.said


def test_heights_have_the_unit_that_their_name_says():
    found = guess("buildings", HGT_FT=[16.0], other_tags=['"building:levels"=>"2"'])
    assert found.columns == {"height_m": "HGT_FT", "storeys": "other_tags:building:levels"}
    assert found.units == {"height_m": "ft"}


@pytest.mark.parametrize(
    ("columns", "storeys"),
    [
        ({"height_m": [6.0, 5.5, None]}, 2),
        ({"height_m": [6.0, None, None]}, None),
        ({"height_m": [6.0, 5.0]}, None),
        ({"storeys": [1, 1, 3, None], "height_m": [None] * 4}, 1),
        ({"height_m": ["20 ft", "20 ft", None]}, 2),
        ({"height_m": [0, 9.0, 9.0]}, 3),
    ],
)
def test_houses_without_a_height_get_the_storeys_of_the_middle_one(columns, storeys):
    # Evidence: closed form; the median over 2.8 m, rounded.
    sample = pd.DataFrame(columns)
    assert guess_missing(sample, guess_columns("buildings", sample), 2.8) == storeys


def cadastre(folder, **columns):
    file = folder / "lots.gpkg"
    shapes = [box(-20, -20, 20, 20), box(20, -20, 60, 20)]
    gpd.GeoDataFrame(columns, geometry=shapes, crs=UTM).to_file(file, engine="fiona")
    return "--layer", f"parcels={file}"


def call(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def test_start_says_which_column_is_to_be_named_and_the_remedy_holds(tmp_path):
    plan = tmp_path / "hedge.toml"
    layer = cadastre(tmp_path, APN=["1", "2"], PIN=["71", "72"])
    asked = call("start", plan, *layer)
    assert asked.exit_code == 2
    assert "2 columns could be the parcel_id of the parcels" in asked.stderr
    remedy = ("--id-column", "PIN", "--id", "72", "--force")
    assert call("start", plan, *layer, *remedy).exit_code == 0
    assert call("check", plan).exit_code == 0
    # The id that is looked for says which it is.
    assert call("start", plan, *layer, "--id", "72", "--force").exit_code == 0
    refused = call("sides", tmp_path / "lots.gpkg", "--id", "5")
    assert refused.exit_code == 2
    assert "2 columns could be the parcel_id" in refused.stderr
    assert call("sides", tmp_path / "lots.gpkg", "--id", "1").exit_code == 0


def test_in_a_terminal_start_asks(tmp_path, monkeypatch):
    asked = []

    def answer(text, **options):
        asked.append(text)
        return options["type"].choices[1]

    monkeypatch.setattr(main_module.click, "prompt", answer)
    given = Given(layers=[cadastre(tmp_path, APN=["1", "2"], PIN=["71", "72"])[1]], point=None)
    start_plan(tmp_path / "hedge.toml", given, ask=main_module._ask_which)
    assert asked == ["Which one"]
    assert '"parcel_id" = "PIN"' in (tmp_path / "hedge.toml").read_text(encoding="utf-8")


def test_a_french_parcel_is_named_by_section_and_number(tmp_path):
    plan = tmp_path / "hedge.toml"
    layer = cadastre(tmp_path, COMMUNE=["1053", "1053"], SECTION=["AB", "AB"], NUMERO=["12", "13"])
    made = call("start", plan, *layer, "--id", "AB 13")
    assert made.exit_code == 0, made.output
    assert (
        "took 'SECTION + NUMERO' as parcel_id (section and number in the French cadastre)"
        in made.output
    )
    assert call("check", plan).exit_code == 0
