"""``firstglow windings`` as a person meets it: bad input named with its line and a remedy, nothing lost."""

import json

import jsonschema

from at_hand import firstglow
from firstglow import schemas

GOOD = 'mains = "230V"\nleads = ["1", "2", "3"]\nlead_ohms = "none"\n[ohms]\n'


def run(*words, code=0, stdin=""):
    return firstglow("windings", *words, typed=stdin, code=code)


def test_contradictory_ohms_name_the_reading(tmp_path):
    # additivity: of three leads on one wire the largest is the sum of the other two; 90 + 94 is not 250
    file = tmp_path / "r.toml"
    file.write_text(GOOD + '"1 2" = "90"\n"2 3" = "94"\n"1 3" = "250"\n')
    done = run("--readings", file, code=2)
    assert done.stdout == "" and f"{file}:" in done.stderr and "again" in done.stderr


def test_bad_answers_end_with_a_remedy(tmp_path):
    file = tmp_path / "r.toml"
    for row, word in (('"1 9" = "90"', 'no lead "9"'), ('"1 2" = "90V"', "ohm"), ('"1 2" = "-4"', "below")):
        file.write_text(GOOD + row + "\n")
        done = run("--readings", file, code=2)
        assert word in done.stderr and f"{file}:5" in done.stderr and "try" in done.stderr


def test_at_the_prompt_it_is_asked_again_and_kept(tmp_path):
    keep = tmp_path / "k.toml"
    run("--keep", keep, stdin="230V\n1 2 3\nnone\n90V\n90\n")
    assert '"1 2" = "90"' in keep.read_text()
    document = json.loads(run("--readings", keep, "--json").stdout)
    jsonschema.validate(document, schemas.load("windings"))
    assert document["next"]["key"] == "ohms 1 3"


def test_its_screen_holds_80_columns_and_a_folder_that_is_not_there_is_told_first(tmp_path):
    shown = run(stdin="230V 50Hz\n1 2 3\nnone\n").stdout
    assert "Ohms" in shown
    assert max(map(len, shown.splitlines())) <= 80
    nowhere = tmp_path / "none" / "k.toml"
    done = run("--keep", nowhere, code=2, stdin="230V 50Hz\n")
    assert done.stdout == "" and "no folder" in done.stderr and "try --keep k.toml" in done.stderr
