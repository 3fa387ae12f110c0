"""A survey as a person writes it is read whole or refused with its line."""

from pathlib import Path

import pytest

from monitor.assess.survey import read_survey
from monitor.base.errors import InputError

HEAD = "fuse,family,rating,millivolts,resistance,feeds,note\n"


def one(line: str):
    return read_survey(HEAD + line + "\n", "s.csv")[0]


def test_the_example_is_read():
    example = Path(__file__).parents[2] / "deploy" / "survey.csv"
    fuses = read_survey(example.read_text(encoding="utf-8"), "survey.csv")
    assert [fuse.fuse for fuse in fuses][:3] == ["F2", "F4", "F7"]
    assert {fuse.feeds for fuse in fuses} == {None, "F2"}


@pytest.mark.parametrize("family", ["ATO", "regular", "atc", "Type C", "standard"])
def test_families_go_by_their_usual_names(family):
    assert one(f"F1,{family},10,1.0,,,").family == "regular"


def test_units_may_stand_beside_the_numbers():
    assert one("F1,mini,7.5 A,1.0 mV,10.9 mΩ,,") == one("F1,mini,7.5,1.0,10.9,,")


def test_the_last_digit_written_is_the_meters_step():
    assert [one(f"F1,mini,10,{text},,,").digit_mv for text in ("1", "0.1", "0.10", "0.105")] == [1, 0.1, 0.01, 0.001]


def test_semicolons_go_with_decimal_commas():
    text = "fuse;family;rating;millivolts\nF1;mini;7,5;0,45\n"
    assert read_survey(text, "s.csv")[0].millivolts == 0.45


def test_leads_the_other_way_round_read_the_same():
    assert one("F1,mini,10,-0.45,,,").millivolts == 0.45


def test_a_rating_without_published_resistance_needs_one():
    with pytest.raises(InputError, match="line 2: no published resistance for maxi 40 A") as refused:
        one("F2,maxi,40,0.3,,,")
    assert "resistance" in refused.value.remedy
    assert one("F2,maxi,40,0.3,1.5,,").resistance_mohm == 1.5


WRONG = {
    "no header": ("", "no header"),
    "a foreign column": ("fuse,family,rating,milivolts\n", 'line 1: unknown column "milivolts"'),
    "a missing column": ("fuse,family,rating\n", "line 1: the column millivolts is missing"),
    "no fuse": (HEAD, "no fuse below the header"),
    "too few fields": (HEAD + "F1,mini,10\n", "line 2: expected 7 fields; found 3"),
    "a family that is none": (HEAD + "F1,glass,10,1,,,\n", 'line 2: expected a family of blade fuses; found "glass"'),
    "a rating of none": (HEAD + "F1,mini,zero,1,,,\n", "line 2, rating: expected a number in ampere up to 500; found"),
    "volts": (
        HEAD + "F1,mini,10,1 V,,,\n",
        'line 2, millivolts: expected a number in millivolt up to 1000; found "1 V',
    ),
    "infinity": (HEAD + "F1,mini,10,inf,,,\n", "line 2, millivolts"),
    "an odd rating": (HEAD + "F1,mini,11,1,,,\n", "line 2: no published resistance for mini 11 A"),
    "a fuse twice": (HEAD + "F1,mini,10,1,,,\nF1,mini,10,1,,,\n", "line 3: F1 stands here twice"),
    "a fuse that feeds itself": (HEAD + "F1,mini,10,1,,F1,\n", "line 2: F1 cannot feed itself"),
    "a circle": (HEAD + "F1,mini,10,1,,F2,\nF2,mini,10,1,,F1,\n", "F1 feeds itself through"),
    "an open quote": (HEAD + 'F1,mini,10,1,,,"oh\n', "not CSV"),
    "a missing name": (HEAD + ",mini,10,1,,,\n", "line 2: fuse is missing"),
    "comments count as lines": ("# my car\n" + HEAD + "# x\nF1,mini,11,1,,,\n", "line 4: no published"),
}


@pytest.mark.parametrize(("text", "said"), WRONG.values(), ids=WRONG.keys())
def test_what_is_wrong_is_told_with_its_line(text, said):
    with pytest.raises(InputError) as refused:
        read_survey(text, "s.csv")
    assert refused.value.what.startswith("s.csv")
    assert said in refused.value.what
    assert refused.value.remedy


def test_the_nearest_name_is_offered():
    with pytest.raises(InputError) as refused:
        read_survey(HEAD + "F1,regulr,10,1,,,\n", "s.csv")
    assert 'did you mean "regular"?' in refused.value.remedy
