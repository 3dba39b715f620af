"""A language made from what is extracted reaches the sentences of the rooms below."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.frontend import parse_mapping_cfg
from babel.messages.mofile import write_mo

import gaugewright
from gaugewright.app import language
from gaugewright.testing.hand import PROBE, TANK, Hand, counts_at
from gaugewright.workbench import sheets, words

ROOT = Path(gaugewright.__file__).parent


def extracted() -> set[str]:
    """Every message that the extraction of `babel.cfg` finds."""
    with (ROOT / "babel.cfg").open(encoding="utf-8") as file:
        methods, options = parse_mapping_cfg(file)
    found = extract_from_dir(ROOT, methods, options, {"_": None, "say": None, "said": None})
    return {message for _, _, message, _, _ in found if isinstance(message, str)}


@pytest.fixture(scope="module")
def messages() -> set[str]:
    return extracted()


@pytest.fixture
def hand(
    workbench, messages: set[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Hand]:
    """A person at a book in gallons, inches and the made-up language."""
    folder = tmp_path / "fr_XX" / "LC_MESSAGES"
    folder.mkdir(parents=True)
    made = Catalog(locale="fr")
    for message in messages:
        made.add(message, f"⟦{message}⟧")
    with (folder / "workbench.mo").open("wb") as file:
        write_mo(file, made)
    monkeypatch.setattr(language, "LOCALES", tmp_path)
    language.catalogue.cache_clear()
    sheets.environment.cache_clear()
    found = Hand(workbench.url)
    found.client.put(
        "/api/book/settings",
        json={"person": "Kim", "request_id": "t", "language": "fr-XX",
              "volume_unit": "us_gallons", "length_unit": "inches"},
    ).raise_for_status()  # fmt: skip
    found.open_job()
    yield found
    found.client.close()
    language.catalogue.cache_clear()
    sheets.environment.cache_clear()


def test_a_finding_is_said_in_the_language_on_page_and_in_the_api(hand: Hand) -> None:
    hand.begin()
    hand.pour(0, 0)
    for total in (40, 80, 120, 160):
        hand.pour(40, total)
    answer = hand.pour(300, 190)

    said = answer["verdict"]["sentence"]
    for caution in hand.state()["cautions"]:
        hand.record("/cautions", **{name: caution[name] for name in ("text", "stage")},
                    caution=caution["id"])  # fmt: skip
    page = hand.client.get(f"/jobs/{hand.job}/pour").text

    assert said.startswith("⟦")
    assert re.search(r"79,252 US gal", said)  # 300 L, three decimals as typed, with a comma
    assert said.split("⟧")[0].removeprefix("⟦") in page.replace("&#39;", "'")


def test_a_planning_sentence_is_said_in_the_language_and_in_inches(hand: Hand) -> None:
    hand.record("/tanks/main", "PUT", tank=TANK, probe=PROBE)
    answer = hand.client.post(
        f"/api/jobs/{hand.job}/tanks/main/plan/layout", json={"wishes": {"contents": "diesel"}}
    )

    notes = answer.json()["layout"]["notes"]

    headroom = next(note for note in notes if "headroom is not known" in note)
    assert headroom.startswith("⟦headroom is not known: ")
    assert re.search(r"\d+,\d\d in above the tank", headroom)
    assert not any(re.search(r"\d mm\b", note) for note in notes)


def test_what_is_wrong_is_said_in_the_language(hand: Hand) -> None:
    hand.record("/tanks/main", "PUT", tank=TANK, probe=PROBE)
    answer = hand.client.post(
        f"/api/jobs/{hand.job}/tanks/main/plan/layout", json={"wishes": {"contents": ""}}
    )

    assert answer.status_code == 422
    assert answer.json()["error"].startswith("⟦what does the tank hold?")


def test_what_is_wrong_in_a_wiring_is_said_in_the_language(hand: Hand) -> None:
    hand.record("/tanks/main", "PUT", tank=TANK, probe=PROBE)
    address = f"/api/jobs/{hand.job}/tanks/main/wiring/check"

    found = hand.client.post(address, json={"wiring": {}}).json()["found"]
    refused = hand.client.post(address, json={"wiring": {"battery_ah": "many"}}).json()

    messages = [each["message"] for each in found["findings"]]
    assert len(messages) > 3
    assert all(message.startswith("⟦") for message in messages), messages
    assert refused["error"].startswith("⟦"), refused


def test_the_door_refuses_in_the_language(hand: Hand) -> None:
    other = hand.client.get("/", headers={"host": "elsewhere.example"})
    old = hand.client.post("/api/jobs", headers={"x-csrf-token": "old"}, json={})

    assert (other.status_code, old.status_code) == (403, 403)
    assert other.json()["error"] == "⟦this server is not asked under that name⟧"
    assert old.json()["error"] == "⟦the page is too old; load it again⟧"


def test_why_a_reading_is_not_steady_is_said_in_the_language(hand: Hand, workbench) -> None:
    from gaugewright.pours.steady import steadiness

    seen = steadiness([k / 10 for k in range(100)], [1000.0 + 0.3 * k for k in range(100)])
    heard = words.speech(words.UnitsShown(), "fr-XX").says(seen.reason)

    assert seen.reason.startswith("still rising 3.0 counts/s")
    assert heard == "⟦still ⟦rising⟧ 3.0 counts/s⟧"


def test_what_is_recorded_stays_in_plain_english(hand: Hand) -> None:
    hand.record("/tanks/main", "PUT", tank=TANK, probe=PROBE)
    wishes = {"contents": "diesel", "ever_held": []}
    cut = hand.client.post(
        f"/api/jobs/{hand.job}/tanks/main/plan/layout", json={"wishes": wishes}
    ).json()["layout"]["probe"]["cut_length_mm"]
    hand.record("/tanks/main/plan/confirmed", wishes=wishes, cut_mm=[f"{cut} mm", f"{cut} mm"])

    kept = hand.client.get(f"/api/jobs/{hand.job}/entries").json()[-1]

    assert kept["kind"] == "plan_recorded"
    assert any(
        note.startswith("headroom is not known") for note in kept["payload"]["plan"]["notes"]
    )


def test_what_later_pours_show_is_recorded_in_english_and_said_in_the_language(hand: Hand) -> None:
    hand.begin()
    for step in range(5):
        hand.pour(50.0 if step else 0, 50.0 * step)
    table = hand.record("/tanks/main/table")["job"]["tanks"][0]["table"]
    hand.record("/tanks/main/table/accept", digest=table["digest"])
    hand.record("/tanks/main/later", purpose="recheck", is_drained=True, cautions_read=True)
    for step in range(4):
        added = {"added_l": "40 L"} if step else {}
        hand.record("/tanks/main/later/pours", counts=counts_at(40.0 * step) + 60, **added)
    hand.record("/tanks/main/later/conclude")

    kept = hand.client.get(f"/api/jobs/{hand.job}/entries").json()[-1]["payload"]
    run = hand.client.get(f"/api/jobs/{hand.job}/tanks/main/later").json()["runs"][0]["concluded"]
    page = hand.client.get(f"/jobs/{hand.job}/later").text.replace("&#39;", "'")

    recorded = [kept["sentence"], kept["results"]["could_show_sentence"]]
    recorded += [each["sentence"] for each in kept["results"]["listed"]]
    heard = [run["sentence"], run["results"]["could_show_sentence"]]
    heard += [each["sentence"] for each in run["results"]["listed"]]
    assert not any("⟦" in sentence for sentence in recorded), recorded
    assert all(sentence.startswith("⟦") for sentence in heard), heard
    assert all(sentence in page for sentence in heard)
    assert [re.sub("[⟦⟧]", "", each).replace(",", ".") for each in heard] == [
        each.replace(",", ".") for each in recorded
    ]
    assert re.search(r"by ⟦\d+,\d\d in⟧", heard[1]), heard[1]
    assert "_said" not in str(run)


def test_findings_of_a_table_are_recorded_in_english_and_said_in_the_books_unit(hand: Hand) -> None:
    hand.begin()
    for step, added in enumerate((0, 40, 40, 40, 40, 40, 49)):
        answer = hand.pour(added, 40.0 * step)
    for each in [f for f in answer["verdict"]["findings"] if f["is_open"]]:
        hand.record("/tanks/main/answers", pour=each["pour"], finding=each["kind"],
                    answer="kept", reason="looked at the meter")  # fmt: skip
    made = hand.record("/tanks/main/table")["entries"][-1]["payload"]

    gallons = hand.client.get(f"/jobs/{hand.job}/table").text.replace("\xa0", " ")
    hand.client.put(
        "/api/book/settings",
        json={"person": "Kim", "request_id": "litres", "volume_unit": "litres"},
    ).raise_for_status()
    litres = hand.client.get(f"/jobs/{hand.job}/table").text.replace("\xa0", " ")

    recorded = " ".join(each["message"] for each in made["findings"])
    assert "After adding 12.944 US gal the probe should show" in recorded
    assert "⟦After ⟦adding⟧ 12,944 US gal the probe should show" in gallons
    assert "⟦After ⟦adding⟧ 49,0 L the probe should show" in litres
    assert "_said" not in gallons


def test_what_differs_in_a_copied_table_is_recorded_in_english_and_said_in_the_language(
    hand: Hand,
) -> None:
    hand.begin()
    for step in range(5):
        hand.pour(50.0 if step else 0, 50.0 * step)
    digest = hand.record("/tanks/main/table")["job"]["tanks"][0]["table"]["digest"]
    hand.record("/tanks/main/table/accept", digest=digest)
    given = hand.client.get(f"/api/jobs/{hand.job}/tanks/main/hand-over").json()
    rows = [line.split(",") for line in given["text"].splitlines()]
    wrong = [*rows[:3], [rows[3][0], rows[3][1].replace(".", "")], *rows[4:]]
    text = "\n".join(",".join(row) for row in wrong)
    tried = hand.client.post(
        f"/api/jobs/{hand.job}/tanks/main/copied-back/try", json={"text": text}
    ).json()
    (kept,) = hand.record("/tanks/main/copied-back", text=text)["entries"][-1]["payload"][
        "differences"
    ]
    page = hand.client.get(f"/jobs/{hand.job}/table").text
    certificate = hand.client.get(f"/jobs/{hand.job}/certificate").text

    assert '<option value="fr-XX">⟦the book’s (fr-XX)⟧</option>' in certificate
    meant = f"{float(rows[3][1]):g}"
    assert given["sentence"].startswith("⟦⟦All ")
    assert kept["message"].startswith("Row 4 (line 4) has ")
    assert kept["message"].endswith(
        f"where ours has {meant} L: the decimal mark has slipped; type {meant}."
    )
    # Their figures stand as they are typed there, whatever the book is kept in.
    said = f"where ours has {meant} L: ⟦the decimal mark has slipped⟧; type {meant}.⟧"
    assert tried["differences"][0]["message"].endswith(said)
    assert f"⟦⟦Row 4 (line 4)⟧ has {wrong[3][1]} L {said}" in page
    assert "⟦In which unit does it take fuel?⟧" in page


def test_every_sentence_of_the_rooms_below_can_be_extracted(messages: set[str]) -> None:
    assert {
        "still {way} {speed} counts/s{about}",
        "Was it {value}? Look at the meter.",
        "headroom is not known: {upright_mm:.0f} above the tank to bring the probe in upright, "
        "{needed_mm:.0f} at the least",
        "Record",
    } <= messages


def test_no_sentence_is_built_where_no_translator_can_see_it() -> None:
    """A template that is not written out at the call would be in no catalogue."""
    hidden = [
        f"{path.name}: {line.strip()}"
        for path in ROOT.rglob("*.py")
        if path.name != "words.py"
        for line in path.read_text(encoding="utf-8").splitlines()
        if re.search(r"\bsaid\(f[\"']", line)
    ]
    assert hidden == []
