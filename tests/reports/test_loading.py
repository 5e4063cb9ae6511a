"""What goes into the van; quantities from first principles [CALC]: each of 24 gauges takes
2 + 2 runs of 800 mL, half as much again and 1 L to rinse: 24 (4 x 0.8 x 1.5 + 1) = 139.2 L."""

from dataclasses import replace

from fleet.reports.loading import loading_list


def found(items, beginning):
    return [item for item in items if item.item.startswith(beginning)]


def test_loading_list_carries_water_for_every_run_rounded_up(week):
    (water,) = found(loading_list(week.days), "Clean water")

    assert water.quantity == "140 L"
    assert "140 kg" in water.detail
    assert "at most 29 L, on Mon 2025-03-03" in water.detail


def test_loading_list_of_one_day_speaks_of_no_refill(week):
    (water,) = found(loading_list(week.days[4:]), "Clean water")

    assert water.quantity == "24 L"
    assert "refill" not in water.detail


def test_loading_list_merges_what_gauges_ask_for(week):
    (gland,) = found(loading_list(week.days[:1]), "Cable gland M16")

    assert gland.quantity == "5"
    assert gland.detail == "SK001, SK002, SK003, SK004"


def test_loading_list_brings_a_device_a_volume_and_spares_a_type(week):
    day = week.days[0]
    card = day.stops[0].cards[0]
    other = replace(card, type_code="TB02-324S", siphon=True, test_volume_ml=500.0)
    stop = replace(day.stops[0], cards=(card, other))

    items = loading_list((replace(day, stops=(stop,)),))

    assert [i.item for i in found(items, "Volumetric")] == [
        "Volumetric test device, 500 mL",
        "Volumetric test device, 800 mL",
    ]
    parts = {i.item: i.detail for i in found(items, "Spare parts")}
    assert parts == {
        "Spare parts, type TB02-324S": "switch, screens, filter, siphon",
        "Spare parts, type TB05-400": "switch, screens, filter",
    }


def test_loading_list_protects_every_person(week):
    pair, alone = loading_list(week.days[:1]), loading_list(week.days[1:2])

    assert found(pair, "Work gloves")[0].quantity == "4 pairs each"
    assert found(alone, "Respirator")[0].quantity == "1 each"


def test_loading_list_of_nothing_is_empty(week):
    assert loading_list(()) == ()
    assert loading_list((replace(week.days[0], stops=()),)) == ()
