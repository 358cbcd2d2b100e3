"""Choosing sets, using two together, confirming rows, bands, and reading the package from a zip."""

import json
import subprocess
import sys
import zipfile
from datetime import date
from pathlib import Path

import pytest

import service.chemistry
from service.chemistry.errors import InputError
from service.chemistry.guidelines import (
    Confirmation,
    available,
    band,
    check_choice,
    confirm,
    get,
    ids,
    unverified_rows,
)
from service.chemistry.guidelines.catalogue import answer, detail, summary
from service.chemistry.readings import parse_readings
from tests.chemistry.guideline_cases import GOOD_BROMINE, GOOD_CHLORINE, find, outcome


def refusal(call, *arguments, **more):
    with pytest.raises(InputError) as refused:
        call(*arguments, **more)
    [error] = refused.value.errors
    return error.field, error.message


def test_an_unknown_set_is_refused_with_the_known_ids():
    field, message = refusal(get, "atlantis")
    assert field == "guideline"
    assert message == f"atlantis is not a guideline set; known: {', '.join(ids())}"


@pytest.mark.parametrize("name", ["", "dc_25c+", "dc_25c+dc_25c", "dc_25c+mahc+nsw", "../dc_25c"])
def test_a_malformed_id_is_refused(name):
    assert refusal(get, name)[0] == "guideline"


@pytest.mark.parametrize(
    ("set_id", "sanitiser"),
    [
        ("maine_10_144_202", "chlorine"),
        ("maryland_comar", "chlorine"),
        ("maryland_comar", "bromine"),
        ("victoria_phw_2019", "bromine"),
        ("nsw", "bromine"),
        ("anchorage_16_15", "bromine"),
    ],
)
def test_a_set_without_a_row_for_the_sanitiser_cannot_be_chosen_alone(set_id, sanitiser):
    good = GOOD_BROMINE if sanitiser == "bromine" else GOOD_CHLORINE
    field, message = refusal(find, set_id, good, sanitiser=sanitiser)
    assert field == "guideline"
    assert f"has no {sanitiser} limit" in message
    assert f'"{set_id}+' in message


def test_a_set_without_limits_may_be_paired_with_one_that_has_them():
    pair = get("maine_10_144_202", paired_with="dc_25c")
    assert pair == get("maine_10_144_202+dc_25c")
    assert outcome("maine_10_144_202+dc_25c", "free_chlorine_mg_l", 2.9) == "close"
    kinds = [rule.formula_id for rule in pair.duties.water_replacement]
    assert kinds == ["tds_rise", "bathers_each_day"]


def test_each_row_of_a_pair_cites_its_own_document():
    found = find("maryland_comar+dc_25c", {**GOOD_CHLORINE, "total_chlorine_mg_l": 4.3})
    acted = {item.row: item.source for item in found if item.severity == "out_of_range"}
    assert set(acted) == {"maryland_comar/combined_chlorine"}
    assert acted["maryland_comar/combined_chlorine"].endswith("COMAR 10.17.01.26 C(2)")


def test_the_stricter_set_of_a_pair_rules():
    # 25-C DCMR 404.2(b)(2): at least 3; O. Reg. 565 s.7: at least 5
    assert (
        band(get("dc_25c+ontario_565"), "free_chlorine_mg_l", sanitiser="chlorine", setting="indoor").low == 5
    )


def test_sets_that_cannot_both_be_met_give_a_contradictory_band():
    # O. Reg. 565 s.7: at least 5; Q-2, r. 39, s.6: at most 3
    both = band(get("ontario_565+quebec_q2r39"), "free_chlorine_mg_l", sanitiser="chlorine", setting="indoor")
    assert both.is_contradictory


def test_the_german_standard_is_never_paired():
    field, message = refusal(get, "din_19643+dc_25c")
    assert field == "guideline"
    assert "never used together with another set" in message


def test_the_german_standard_is_refused_for_a_portable_tub():
    field, message = refusal(find, "din_19643", {"free_chlorine_mg_l": 1, "ph": 7, "temperature_c": 35})
    assert field == "guideline"
    assert "needs flocculation plant; not for portable tubs" in message
    check_choice(get("din_19643"), sanitiser="chlorine", portable=False)


def test_the_german_standard_is_not_offered_for_a_portable_tub():
    assert {item.id for item in available()} - {item.id for item in available(portable=True)} == {"din_19643"}


CONFIRMED = Confirmation("R. Vale", date(2026, 5, 4), "2nd printing, 2018", "paragraph 71")


def test_a_confirmed_row_names_who_confirmed_it_and_by_what():
    row = "uk_hsg282/free_chlorine"
    confirmed = confirm(get("uk_hsg282"), {row: CONFIRMED})
    [finding] = find(confirmed, {**GOOD_CHLORINE, "free_chlorine_mg_l": 2})
    assert finding.verified == "confirmed"
    assert finding.mark == "Confirmed by R. Vale on 2026-05-04: 2nd printing, 2018, paragraph 71"
    assert finding.source.endswith("2nd printing, 2018, paragraph 71")
    assert "Unverified" not in finding.message


def test_confirming_one_row_leaves_the_others_unverified():
    confirmed = confirm(get("uk_hsg282"), {"uk_hsg282/free_chlorine": CONFIRMED})
    assert confirmed.level == "mixed"
    [finding] = find(confirmed, {**GOOD_CHLORINE, "ph": 7.7})
    assert finding.verified == "memory"
    assert "uk_hsg282/free_chlorine" not in [row.key for row in unverified_rows(confirmed)]


def test_confirming_every_key_row_lifts_the_set():
    guideline = get("uk_hsg282")
    confirmed = confirm(guideline, {row.key: CONFIRMED for row in guideline.key_rows})
    assert (confirmed.level, confirmed.offered_as) == ("confirmed", "Confirmed by your firm")
    assert guideline.level == "memory"


def test_confirming_a_row_of_another_set_is_refused():
    assert refusal(confirm, get("uk_hsg282"), {"dc_25c/ph": CONFIRMED}) == (
        "confirmations",
        "dc_25c/ph is not a row of uk_hsg282",
    )


def span(set_id, parameter, **more):
    more = {"sanitiser": "chlorine", "setting": "outdoor", **more}
    found = band(get(set_id), parameter, **more)
    return found.close_low, found.low, found.ideal_low, found.ideal_high, found.high, found.close_high


@pytest.mark.parametrize(
    ("set_id", "parameter", "expected"),
    [
        # 25-C DCMR 404.2(a), 715.1(f), (g); the house floor closes below 6.8
        ("dc_25c", "ph", (6.8, 7.2, None, None, 7.8, 8.0)),
        # ARM 37.115.1308 Table 6
        ("montana_37_115", "free_chlorine_mg_l", (1, 2, 3, 5, 8, 10)),
        # no pH row: house floor only
        ("quebec_q2r39", "ph", (6.8, 6.8, None, None, 8.0, 8.0)),
        # WHO 2007 chapter 8: at least 1, no maximum; the house floor ends at 10
        ("who_2007", "free_chlorine_mg_l", (1, 1, None, None, 10, 10)),
        # 10 NYCRR 6-1.25(b): 104 degF
        ("new_york_6_1", "temperature_c", (None, None, None, None, 40, 40)),
        ("new_york_6_1", "total_alkalinity_mg_l", (None, None, None, None, None, None)),
    ],
)
def test_a_band_folds_set_and_floor_into_one_range(set_id, parameter, expected):
    assert span(set_id, parameter) == expected


def test_a_band_says_where_it_comes_from():
    limits = {"sanitiser": "chlorine", "setting": "outdoor"}
    gap = band(get("quebec_q2r39"), "ph", **limits)
    assert (gap.gap, gap.source, gap.verified) == (True, "house floor (no source)", "house")
    told = band(get("mahc"), "ph", **limits)
    assert (told.gap, told.verified) == (False, "memory")
    assert "MAHC 6.6.3.1 items 3, 4" in told.source


@pytest.mark.parametrize(("ph", "low"), [(7.4, 2.0), (7.7, 3.0), (None, 3.0)])
def test_a_band_tightens_unless_the_readings_show_that_it_does_not(ph, low):
    # Public Health Regulation 2012 (NSW) Sch. 1 cl. 4(3)
    readings = None if ph is None else parse_readings({"ph": ph})
    assert span("nsw", "free_chlorine_mg_l", readings=readings)[1] == low


def test_a_band_aims_at_the_preferred_range_where_the_set_would_allow_more():
    # 641-15.51 Table 12 (Iowa)
    readings = parse_readings({"orp_mv": 750})
    assert span("iowa_641_15", "free_chlorine_mg_l", readings=readings)[1] == 2.0


@pytest.mark.parametrize(("value", "inside"), [(749.9, False), (750, False), (750.1, True)])
def test_a_band_knows_its_open_end(value, inside):
    # Q-2, r. 39, s.6: above 750 mV
    found = band(get("quebec_q2r39"), "orp_mv", sanitiser="chlorine", setting="indoor")
    assert found.holds(value) is inside


def test_the_summary_lists_every_set_with_its_mark():
    listed = summary()
    assert [item["id"] for item in listed] == list(ids())
    marks = {item["id"]: item["offered_as"] for item in listed}
    assert marks["uk_hsg282"] == "Unverified: check against the document"
    assert answer() == {"guidelines": listed}


@pytest.mark.parametrize("set_id", [*ids(), "maine_10_144_202+dc_25c"])
def test_the_detail_of_a_set_is_plain_json_with_a_clause_at_every_figure(set_id):
    shown = json.loads(json.dumps(detail(set_id)))
    assert len(shown["rows"]) == len(get(set_id).rows)
    duties = [duty for kind in shown["duties"].values() for duty in kind]
    for entry in shown["rows"] + shown["closure_conditions"] + duties:
        assert entry["clause"]
        assert entry["mark"]


def test_the_package_works_from_a_plain_zip(tmp_path):
    archive = tmp_path / "engine.zip"
    root = Path(service.chemistry.__file__).parent
    with zipfile.ZipFile(archive, "w") as packed:
        packed.writestr("service/__init__.py", "")
        for path in sorted(root.rglob("*")):
            if path.suffix in (".py", ".json"):
                packed.write(path, Path("service/chemistry") / path.relative_to(root))
    code = (
        f"import sys; sys.path[:0] = [{str(archive)!r}]\n"
        "from service.chemistry.guidelines import available, __file__\n"
        "assert '.zip' in __file__, __file__\n"
        "print(len(available()))"
    )
    ran = subprocess.run(
        [sys.executable, "-I", "-c", code], capture_output=True, text=True, check=True, cwd=tmp_path
    )
    assert ran.stdout.strip() == "19"
