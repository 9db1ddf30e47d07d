import math
from zoneinfo import ZoneInfo, available_timezones

import pytest
from hypothesis import given
from hypothesis import strategies as st

from noonframe.datafiles import data_folder
from noonframe.errors import Malformed, NoonframeError, OutOfDomain, UnknownName
from noonframe.places import (
    Coordinates,
    demo_places,
    find_cities,
    fold,
    parse_coordinates,
    parse_geo_uri,
    resolve_place,
    time_zone_at,
)

latitudes = st.floats(-89.99, 89.99)
longitudes = st.floats(-180, 180)


@pytest.mark.parametrize(
    "text",
    [
        "41.15,-8.61",
        " 41.15 , -8.61 ",
        "+41.15,-8.61",
        "41.15 N, 8.61 W",
        "41.15° N, 8.61° W",
        "41.15n,8.61w",
    ],
)
def test_coordinates_are_read_in_the_forms_people_write(text):
    assert parse_coordinates(text) == Coordinates(41.15, -8.61)


@pytest.mark.parametrize(
    "text",
    [
        "41.15",
        "41.15;-8.61",
        "41.15,-8.61,80",
        "8.61 W, 41.15 N",
        "-41 S, 170 E",
        "nan,0",
        "0,inf",
        "1e1,2",
        "1_0,2",
    ],
)
def test_what_is_not_a_pair_of_degrees_is_refused_with_an_example(text):
    with pytest.raises(Malformed, match=r"41\.15,-8\.61"):
        parse_coordinates(text)


@given(latitudes, longitudes)
def test_any_position_survives_being_written_and_read(latitude_deg, longitude_deg):
    read = parse_coordinates(f"{latitude_deg:.9f},{longitude_deg:.9f}")
    assert math.isclose(read.latitude_deg, latitude_deg, abs_tol=1e-9)
    assert math.isclose(read.longitude_deg, longitude_deg, abs_tol=1e-9)
    assert parse_geo_uri(f"geo:{latitude_deg:.9f},{longitude_deg:.9f}") == read


@pytest.mark.parametrize("text", ["90,0", "-90,0", "geo:90,0"])
def test_the_pole_itself_is_refused_and_its_neighbour_offered(text):
    with pytest.raises(OutOfDomain, match=r"89\.99") as caught:
        resolve_place(text)
    assert caught.value.field == "latitude_deg"


@pytest.mark.parametrize(("text", "field"), [("90.01,0", "latitude_deg"), ("0,180.01", "longitude_deg")])
def test_degrees_off_the_globe_are_refused_by_name(text, field):
    with pytest.raises(OutOfDomain) as caught:
        parse_coordinates(text)
    assert caught.value.field == field


@pytest.mark.reference
@pytest.mark.parametrize(
    ("uri", "expected"),
    [
        # RFC 5870: sections 1 and 6.1 to 6.3 for the first four, 3.4.2 and 3.4.4 for crs and its case
        ("geo:13.4125,103.8667", Coordinates(13.4125, 103.8667)),
        ("geo:48.2010,16.3695,183", Coordinates(48.201, 16.3695, 183.0)),
        ("geo:48.198634,16.371648;crs=wgs84;u=40", Coordinates(48.198634, 16.371648, None, 40.0)),
        ("geo:66,30;u=6.500;FOo=this%2dthat", Coordinates(66.0, 30.0, None, 6.5)),
        ("GEO:0,-180,-30;CRS=WGS84", Coordinates(0.0, -180.0, -30.0)),
    ],
)
def test_geo_uris_follow_the_standard(uri, expected):
    assert parse_geo_uri(uri) == expected


@pytest.mark.parametrize(
    "uri",
    [
        "geo:41.15",
        "geo:41.15,-8.61,80,1",
        "geo:+41.15,-8.61",
        "geo:4e1,-8.61",
        "geo:41.15, -8.61",
        "geo:41.15,-8.61;u=-1",
        "geo:41.15,-8.61;u=4;u=5",
        "geo:41.15,-8.61;u=4;crs=wgs84",
        "geo:41.15,-8.61;crs=nad27",
        "geo:41.15,-8.61?z=12",
        "geo:nan,0",
    ],
)
def test_what_the_standard_does_not_allow_is_refused(uri):
    with pytest.raises(Malformed):
        parse_geo_uri(uri)


@pytest.mark.parametrize(
    "text", ["Porto", "porto", "PORTO, PT", "Pôrto", "Porto, Portugal", "Porto (PT)", "Oporto"]
)
def test_a_city_is_found_whatever_its_spelling(text):
    place = resolve_place(text)
    assert place.label == "Porto (PT)"
    assert place.time_zone == "Europe/Lisbon"
    assert place.elevation_m is None
    assert math.isclose(place.latitude_deg, 41.15, abs_tol=0.01)  # the demo scenario's own rounding
    assert math.isclose(place.longitude_deg, -8.61, abs_tol=0.01)


@pytest.mark.parametrize(
    ("text", "label"),
    [
        ("Dunedin", "Dunedin (NZ)"),
        ("Muenchen", "Munich (DE)"),
        ("Århus", "Århus (DK)"),
        ("aarhus", "Århus (DK)"),
        ("Łódź", "Łódź (PL)"),
        ("lodz", "Łódź (PL)"),
        ("New York", "New York City (NY, US)"),
        ("Washington, D.C.", "Washington (DC, US)"),
        ("St Johns, CA", "St. John's (CA)"),
        ("Springfield, MO", "Springfield (MO, US)"),
        ("Springfield, IL, US", "Springfield (IL, US)"),
        ("London", "London (GB)"),  # the next London is far smaller
    ],
)
def test_names_with_qualifiers_and_other_letters_are_found(text, label):
    assert resolve_place(text).label == label


def test_a_name_that_several_cities_bear_is_not_guessed():
    with pytest.raises(UnknownName, match="Valencia") as caught:
        resolve_place("Valencia")
    assert {"Valencia (ES)", "Valencia (VE)"} <= set(caught.value.near)
    for label in caught.value.near:
        assert resolve_place(label).label == label


def test_the_largest_is_taken_only_when_five_times_larger():
    for name in ("Cambridge", "Portland", "London", "York", "Birmingham"):
        bearers = [city for city in find_cities(name, 50) if fold(city.name) == fold(name)]
        clear = bearers[0].population >= 5 * bearers[1].population
        if clear:
            assert resolve_place(name).latitude_deg == bearers[0].latitude_deg
        else:
            with pytest.raises(UnknownName):
                resolve_place(name)


def test_a_misspelt_name_is_answered_with_its_neighbours():
    with pytest.raises(UnknownName) as caught:
        resolve_place("Lisbonn")
    assert "Lisbon (PT)" in caught.value.near


@pytest.mark.parametrize(
    "text", ["", "  ", "\x00", "Por\nto", "Porto\u202e", "a" * 201, "\ud800", ",", "()", "(", "東京"]
)
def test_text_that_is_no_place_is_refused(text):
    with pytest.raises(NoonframeError) as caught:
        resolve_place(text)
    assert caught.value.field == "place"


@given(st.text(max_size=60))
def test_no_text_breaks_the_reading(text):
    try:
        place = resolve_place(text)
    except NoonframeError:
        return
    assert -90 < place.latitude_deg < 90
    assert ZoneInfo(place.time_zone)


def test_coordinates_and_uris_tell_zone_and_elevation():
    place = resolve_place("geo:41.15,-8.61,80;u=40")
    assert (place.elevation_m, place.time_zone, place.source) == (80.0, "Europe/Lisbon", "geo URI")
    assert resolve_place("-45.87, 170.50").label == "45.8700° S, 170.5000° E"


def test_the_demo_places_are_the_scenario():
    yard, room = resolve_place("quayside-yard"), resolve_place("Dunedin-Room")
    assert (yard.latitude_deg, yard.longitude_deg, yard.elevation_m) == (41.15, -8.61, 80.0)
    assert (room.latitude_deg, room.longitude_deg, room.elevation_m) == (-45.87, 170.5, 10.0)
    for place in demo_places().values():
        assert time_zone_at(place.latitude_deg, place.longitude_deg) == place.time_zone


@pytest.mark.parametrize(
    ("latitude_deg", "longitude_deg", "zone"),
    [
        # IANA time zone database: the zone of each territory, and Etc/GMT+n (n hours behind) at sea
        (41.15, -8.61, "Europe/Lisbon"),
        (-45.87, 170.5, "Pacific/Auckland"),
        (27.7, 85.3, "Asia/Kathmandu"),
        (-16.8, 180.0, "Pacific/Fiji"),
        (-16.8, -180.0, "Pacific/Fiji"),
        (40.0, -30.0, "Etc/GMT+2"),
        (0.0, 0.0, "Etc/GMT"),
    ],
)
def test_the_zone_of_land_and_sea(latitude_deg, longitude_deg, zone):
    assert time_zone_at(latitude_deg, longitude_deg) == zone


@given(latitudes, longitudes)
def test_every_position_has_a_zone_that_exists(latitude_deg, longitude_deg):
    assert time_zone_at(latitude_deg, longitude_deg) in available_timezones()


@given(latitudes)
def test_the_antimeridian_is_one_line(latitude_deg):
    assert time_zone_at(latitude_deg, 180.0) == time_zone_at(latitude_deg, -180.0)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_a_zone_of_nowhere_is_refused(bad):
    with pytest.raises(OutOfDomain, match="latitude_deg"):
        time_zone_at(bad, 0.0)
    with pytest.raises(OutOfDomain, match="longitude_deg"):
        time_zone_at(0.0, bad)


def test_a_search_lists_namesakes_then_beginnings_by_size():
    names = [city.name for city in find_cities("porto", 10)]
    assert names[0] == "Porto"
    assert "Porto Alegre" in names
    assert len(find_cities("san", 7)) == 7
    assert find_cities("zzzzzz") == ()


@pytest.mark.parametrize("limit", [0, -1, 51])
def test_the_length_of_a_list_is_bounded(limit):
    with pytest.raises(OutOfDomain, match="limit"):
        find_cities("porto", limit)


def test_every_city_can_be_used():
    zones = available_timezones()
    seen = set()
    for letter in "abcdefghijklmnopqrstuvwxyz":
        for city in find_cities(letter, 50):
            seen.add(city)
            assert -90 < city.latitude_deg < 90
            assert -180 <= city.longitude_deg <= 180
            assert city.time_zone in zones
            assert city.ascii_name.isascii()
            assert city.population >= 40_000
    assert len(seen) > 1000


def test_the_city_table_stays_small():
    assert (data_folder() / "places.csv").stat().st_size < 1_200_000
