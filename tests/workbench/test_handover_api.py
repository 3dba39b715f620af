"""The hand-over over the API: a recipe, the text, what was copied back, until it is clean."""

import pytest

from gaugewright.testing.hand import Hand

ANSWERS = {
    "name": "north depot",
    "most_rows": "12",
    "decimals": "1",
    "separator": "semicolon",
    "decimal_mark": "comma",
    "scale": "full_scale",
    "scale_low": "0",
    "scale_high": "1023",
    "volume_unit": "US gal",
    "header": "Raw;Fuel",
    "zero": "bottom",
}


@pytest.fixture
def made(hand, pour_at_once):
    """A job whose table is accepted."""
    pour_at_once(hand, 25.0, 8)
    hand.record("/tanks/main/table")
    table = tank_of(hand)["table"]
    hand.record("/tanks/main/table/accept", digest=table["digest"])
    return hand


def tank_of(hand):
    return hand.state()["tanks"][0]


def given(hand):
    return hand.client.get(f"/api/jobs/{hand.job}/tanks/main/hand-over").json()


def chosen(hand, **answers):
    return hand.record("/tanks/main/recipe", recipe={**ANSWERS, **answers})


def test_without_a_recipe_the_table_goes_as_it_is(made):
    found = given(made)
    rows = tank_of(made)["table"]["rows"]
    assert len(found["rows"]) == len(rows)
    assert found["text"].splitlines()[0] == f"{rows[0][0]:.0f},{rows[0][1]:.2f}"
    assert found["loss_l"] == 0


def test_a_recipe_gives_the_text_and_says_what_it_costs(made):
    answer = chosen(made)
    assert [e["kind"] for e in answer["entries"]] == ["recipe_chosen"]
    assert answer["entries"][0]["payload"]["recipe"]["scale_high"] == 1023.0

    found = given(made)
    lines = found["text"].splitlines()
    assert lines[0] == "Raw;Fuel"
    assert len(lines) == 13
    assert all("," in line and "." not in line for line in lines[1:])
    table = tank_of(made)["table"]
    last_l = table["rows"][-1][1]
    counts, volume = lines[-1].split(";")
    assert int(counts) == round(table["rows"][-1][0] * 1023 / 4095)
    assert float(volume.replace(",", ".")) == pytest.approx(last_l / 3.785411784, abs=0.06)
    assert 0 < found["loss_l"] < found["total_l"] <= found["band_l"] + found["loss_l"] + 1e-9
    assert "thinning and rounding move it by at most" in found["sentence"]

    file = made.client.get(f"/api/jobs/{made.job}/tanks/main/hand-over.txt")
    assert file.text == found["text"]
    assert file.headers["content-disposition"] == f'attachment; filename="{made.job}-main.csv"'


def test_trying_answers_records_nothing(made):
    before = made.state()["number"]
    url = f"/api/jobs/{made.job}/tanks/main/hand-over/try"
    tried = made.client.post(url, json={"recipe": {**ANSWERS, "most_rows": "5"}})
    assert len(tried.json()["rows"]) == 5
    refused = made.client.post(url, json={"recipe": {**ANSWERS, "most_rows": "5,5"}})
    assert refused.status_code == 422
    assert refused.json()["field"] == "most_rows"
    assert made.state()["number"] == before


def test_the_recipe_is_kept_in_the_book_and_travels_with_the_job_file(made, tmp_path):
    from gaugewright.journal.book import open_book

    chosen(made, name="south depot", most_rows="7")
    kept = made.client.get("/api/recipes").json()
    assert "south depot" in [each["name"] for each in kept["recipes"]]
    assert [q["field"] for q in kept["questions"]][:2] == ["name", "most_rows"]

    file = made.client.get(f"/api/jobs/{made.job}/export").content
    with open_book(tmp_path / "other.book") as book:
        book.import_job(file)
        recipe = book.state(made.job).tanks["main"].recipe
        assert recipe is not None
        assert recipe.event.recipe["most_rows"] == 7


def test_settings_that_are_changed_leave_the_recipes_where_they_are(made):
    chosen(made, name="kept through settings")
    body = {"person": "Ann", "workshop": "Quay Works", "request_id": "settings-1"}
    assert made.client.put("/api/book/settings", json=body).status_code == 200
    names = [each["name"] for each in made.client.get("/api/recipes").json()["recipes"]]
    assert "kept through settings" in names


def test_a_faithful_copy_is_clean_and_says_so(made):
    chosen(made)
    text = given(made)["text"]
    answer = made.record("/tanks/main/copied-back", text=text, way="file")
    payload = answer["entries"][0]["payload"]
    assert answer["entries"][0]["kind"] == "copied_back"
    assert payload["is_clean"] is True
    assert payload["max_error_l"] == 0
    assert payload["digest"] == tank_of(made)["table"]["digest"]
    assert payload["shown"] == text
    assert tank_of(made)["hand_over"]["stands"] == "clean"


def test_a_mistake_is_named_and_stands_until_it_is_clean(made):
    chosen(made)
    lines = given(made)["text"].splitlines()
    counts, volume = lines[6].split(";")
    wrong = [*lines[:6], f"{counts};{volume.replace(',', '')}", *lines[7:]]
    answer = made.record("/tanks/main/copied-back", text="\n".join(wrong))
    (told,) = answer["entries"][0]["payload"]["differences"]
    assert (told["kind"], told["row"]) == ("decimal_slip", 6)
    shown = f"{float(volume.replace(',', '.')):g}".replace(".", ",")  # with their decimal mark
    assert f"where ours has {shown} " in told["message"]
    assert f"type {shown}." in told["message"]
    assert tank_of(made)["hand_over"]["stands"] == "differs"

    made.record("/tanks/main/copied-back", rows=[line.split(";") for line in lines[1:]])
    stands = tank_of(made)["hand_over"]
    assert stands["stands"] == "clean"
    assert [c["way"] for c in stands["copies"]] == ["pasted", "typed"]


def test_a_copy_that_differs_is_accepted_by_name_and_with_a_reason(made):
    chosen(made)
    lines = given(made)["text"].splitlines()
    number = made.record("/tanks/main/copied-back", text="\n".join(lines[:-1]))["number"]

    refused = made.send(f"/tanks/main/copied-back/{number}/accept", accepted_by="Ann", reason="")
    assert refused.status_code == 422
    refused = made.send(f"/tanks/main/copied-back/{number - 1}/accept", accepted_by="A", reason="x")
    assert refused.status_code == 409
    made.record(
        f"/tanks/main/copied-back/{number}/accept",
        accepted_by="Bea Lund",
        reason="they close the table at the filler cap",
    )
    stands = tank_of(made)["hand_over"]
    assert stands["stands"] == "accepted"
    assert stands["copies"][-1]["accepted_by"] == "Bea Lund"

    made.record("/tanks/main/table")
    assert tank_of(made)["hand_over"]["stands"] in ("accepted", "not_copied")


def test_a_clean_copy_leaves_nothing_to_accept(made):
    number = made.record("/tanks/main/copied-back", text=given(made)["text"])["number"]
    refused = made.send(f"/tanks/main/copied-back/{number}/accept", accepted_by="A", reason="x")
    assert refused.status_code == 409
    assert "nothing differs" in refused.json()["error"]


@pytest.mark.parametrize(
    ("text", "words"),
    [("nothing to see", "no two columns"), ("   ", "is empty"), ("1 2\n" * 30_000, "30000 lines")],
)
def test_what_is_no_table_is_refused_and_records_nothing(made, text, words):
    before = made.state()["number"]
    refused = made.send("/tanks/main/copied-back", text=text)
    assert refused.status_code == 422
    assert refused.json()["field"] == "text"
    assert words in refused.json()["error"]
    assert made.state()["number"] == before


def test_rows_that_are_no_table_are_told_of_the_rows_not_of_the_text_to_paste(made):
    refused = made.send("/tanks/main/copied-back", rows=[["", "45,5"]])
    assert refused.status_code == 422
    assert refused.json()["field"] == "rows"


def test_zero_at_the_drained_state_needs_to_be_known(workbench, pour_at_once):
    hand = Hand(workbench.url)
    hand.open_job()
    pour_at_once(hand, 25.0, 8)
    hand.record("/tanks/main/table")
    chosen(hand, zero="drained", volume_unit="L", scale="same")
    found = given(hand)
    hand.client.close()
    # The residue was given as 1.2 L with a standard uncertainty of 0.3 L.
    assert found["below_zero_l"] == pytest.approx(1.2)
    assert found["u_below_zero_l"] == pytest.approx(1.96 * 0.3)
    assert found["text"].splitlines()[-1].split(";")[1] != "0,0"
