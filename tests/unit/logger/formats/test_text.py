"""Free text with a number in it: the right one, with its sign and unit, or none at all."""

from __future__ import annotations

import pytest
from support.channels import TEXT, channel

from logger.channels.sensors_file import parse_sensors
from logger.errors import SensorsFault
from logger.formats.base import OTHER, Decoder
from logger.formats.number_marks import ANOTHER_UNIT, COMMA
from logger.formats.registry import decoder_for
from logger.formats.text import NO_NUMBER, NOT_A_NUMBER, OVERLOAD, TWICE

KG = channel("f", "force", format="text", unit="kg")


def read(text: str, *lines: str) -> tuple[list[str], Decoder]:
    decoder = decoder_for(parse_sensors(text, "s").channels)
    decoder.connected(torn=False)
    out = decoder.feed("".join(line + "\r\n" for line in lines).encode())
    return [each.decode() for each in out.readings.get("f", [])], decoder


@pytest.mark.parametrize(
    ("keys", "line", "reading"),
    [
        ("", "ST,GS,+ 0012.34kg", "+0012.34"),
        ("", "ST,NT,-  12.34 kg", "-12.34"),
        ("", "12.34- kg", "-12.34"),
        ("", "  0012.34  KG  G", "0012.34"),
        ("", "CH1: 12.5 kgs", "12.5"),
        ("", "wn0012.34kg", "0012.34"),
        ("", "Net weight is 12.34", "12.34"),
        ("", "HOLD 12.5", "12.5"),
        ("", "COLD 12.5 STABLE", "12.5"),
        ("number = 2", "3 + 12.5 kg", "+12.5"),
        ("number = 2", "CH1 A 7 B 12.5", "12.5"),
        ('after = "N="', "G= 7 N=  - 12.5 kg", "-12.5"),
        ('after = "N="', "MIN=3 N=12.5", "12.5"),
        ('after = "N="\nnumber = 2', "1 2 N= 7 ; 12.5 kg", "12.5"),
        ('after = "GS,"', "ST,GS,+ 0012.34kg", "+0012.34"),
        ('after = ","', "ST,GS,+ 0012.34kg", "+0012.34"),
        ('after = "net weight"', "net  weight 12.5", "12.5"),
        ("from = 3\nto = 8", "0112.34581", "12.345"),
        ("from = 3\nto = 8", "AB  12.5kg", "12.5"),
        ("from = 3\nto = 8", "AB- 12.5 kg", "-12.5"),
        ('decimal = ","', "1,90 kg", "1.90"),
        ('decimal = "."', "7,90 kg", "7"),
        ('thousands = ","', "1,412.7 kg", "1412.7"),
        ('decimal = ","\nthousands = "."', "1.412,7 kg", "1412.7"),
        ('thousands = "\'"', "1'412.7 kg", "1412.7"),
        ('thousands = " "', "1 412.7 kg", "1412.7"),
        ("", "1.5e2 kg", "1.5e2"),
    ],
)
def test_the_number_is_found(keys: str, line: str, reading: str) -> None:
    found, decoder = read(KG + keys + "\n", line, line)
    assert found == [reading] * 2 and not decoder.causes


@pytest.mark.parametrize(
    ("keys", "line", "cause"),
    [
        ("", "12.34 N", ANOTHER_UNIT),
        ("", "12.34 lb", ANOTHER_UNIT),
        ("", "12.34kN", ANOTHER_UNIT),
        ("", "12.34 oz", ANOTHER_UNIT),
        ("", "12.34 t", ANOTHER_UNIT),
        ("", "12.34 G", ANOTHER_UNIT),
        ("", "12.3%", ANOTHER_UNIT),
        ("", "12.34xy", NOT_A_NUMBER),
        ("", "12.34.56 kg", NOT_A_NUMBER),
        ("", "2026-11-30", NOT_A_NUMBER),
        ("", "-12.5- kg", NOT_A_NUMBER),
        ("", "--12.5 kg", NOT_A_NUMBER),
        ("", "+ -12.5 kg", NOT_A_NUMBER),
        ("", "1,90 kg", COMMA),
        ("", "ST,GS", NO_NUMBER),
        ("", "CH1 kg", NO_NUMBER),
        ("number = 2", "12.5 kg", NO_NUMBER),
        ('after = "N="', "N= A 5", OTHER),
        ('after = "N="', "N= 1N= 12.5", TWICE),
        ('after = "N="', "G= 12.5", OTHER),
        ('after = "N="', "MIN=12.5", OTHER),
        ("from = 3\nto = 8", "12", NO_NUMBER),
        ("from = 3\nto = 8", "ABC12.5 kg", NO_NUMBER),
        ("from = 3\nto = 8", "AB12 345", NOT_A_NUMBER),
        ("from = 1\nto = 5", "12.34 lb", ANOTHER_UNIT),
        ('thousands = ","', "1,90 kg", NOT_A_NUMBER),
        ('decimal = ","', "1.90 kg", NOT_A_NUMBER),
        ("", "OL", OVERLOAD),
        ("", "   OL  kg", OVERLOAD),
        ("", "OL,GS,+99999.9kg", OVERLOAD),
        ("", "------", OVERLOAD),
        ("", "Over 5", OVERLOAD),
        ('overload = ["HIGH"]', "HIGH 5", OVERLOAD),
    ],
)
def test_what_is_not_surely_the_number_is_dropped_with_its_cause(
    keys: str, line: str, cause: str
) -> None:
    found, decoder = read(KG + keys + "\n", line)
    assert found == [] and decoder.causes == {cause: 1}
    assert decoder.drops == {"f": cause != OTHER}


def test_an_overload_is_told_in_its_place_among_the_readings() -> None:
    decoder = decoder_for(parse_sensors(KG, "s").channels)
    decoder.connected(torn=False)
    out = decoder.feed(b"1 kg\n2 kg\nOL\nOL\n3 kg\n")
    assert out.readings == {"f": [b"1", b"2", b"3"]} and out.overloads == {"f": [2, 2]}
    assert decoder.understood == decoder.lines == 5
    assert not decoder.feed(b"OLD 4\n").overloads


def test_own_overload_words_take_the_place_of_the_usual_ones() -> None:
    assert read(KG + "overload = []\n", "OL 5")[0] == ["5"]
    assert read(KG + 'overload = ["HIGH"]\n', "OL 5")[0] == ["5"]


def test_two_channels_read_one_line() -> None:
    text = KG + 'after = "G="\n' + KG.replace('"f"', '"g"') + 'after = "N="\n'
    decoder = decoder_for(parse_sensors(text, "s").channels)
    decoder.connected(torn=False)
    out = decoder.feed(b"G= 7 kg N=-5 kg\r\n" * 3)
    assert out.readings == {"f": [b"7"] * 3, "g": [b"-5"] * 3}


def test_a_block_of_good_lines_goes_through_one_pass(monkeypatch: pytest.MonkeyPatch) -> None:
    decoder = decoder_for(parse_sensors(KG + 'after = "GS,"\n', "s").channels)
    decoder.connected(torn=False)
    decoder.feed(b"ST,GS,+ 0012.34kg,7\r\n")
    monkeypatch.setattr(decoder, "_line", None)
    block = b"".join(b"ST,GS,%+07.2fkg,%d\r\n" % (n / 7, n) for n in range(-50, 50))
    out = decoder.feed(block + b"ST,GS,-   1.5kg,8\r\n")
    assert out.readings["f"] == [b"%+07.2f" % (n / 7) for n in range(-50, 50)] + [b"-1.5"]


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ("from = 3", "to: is missing"),
        ("to = 3", "from: is missing"),
        ("from = 3\nto = 2", "write at least 3"),
        ("from = 3\nto = 8\nnumber = 1", "number: does not go with from and to"),
        ("from = 3\nto = 8\nafter = 'N='", "after: does not go with from and to"),
        ("number = 0", "from 1 to 1000"),
        ("after = ''", "after: is empty"),
        ("after = 'é'", "after: is empty, or holds"),
        ("after = 'GS,+'", "take the sign out"),
        ("overload = 'OL'", 'write overload = ["OL", "OVER"]'),
        ("overload = ['']", "overload: is empty"),
        ("decimal = ','\nthousands = ','", 'write decimal = "."'),
        ("thousands = '.'", 'write decimal = ","'),
        ("thousands = '-'", "is not known"),
        ("separator = ','", "separator: does not belong to format text"),
        ("ends = 'CR'", 'write "cr"'),
        ("ends = '5'", "ends:"),
    ],
)
def test_what_contradicts_itself_is_refused_with_what_to_write(keys: str, said: str) -> None:
    with pytest.raises(SensorsFault) as caught:
        parse_sensors(KG + keys + "\n", "s")
    assert said in str(caught.value)


def test_one_mark_has_one_meaning_in_columns() -> None:
    columns = channel("f", "force", format="columns", column=1, unit="N")
    for keys, said in (
        ("separator = ','\nthousands = ','", "separator too"),
        ("separator = ';'\nthousands = '.'", "decimal mark too"),
        ("thousands = ' '", "separator too"),
        ("separator = ','\ndecimal = ','", "separator too"),
    ):
        with pytest.raises(SensorsFault) as caught:
            parse_sensors(columns + keys + "\n", "s")
        assert said in str(caught.value)
    assert parse_sensors(columns + "separator = ';'\nthousands = ','\n", "s")


def test_two_channels_of_a_port_read_different_numbers() -> None:
    port = TEXT + 'port = "x"\nbaud = 9600\n'
    with pytest.raises(SensorsFault, match="reads the same number"):
        parse_sensors(port + port.replace('"f"', '"g"') + "number = 1\n", "s")
    assert parse_sensors(port + port.replace('"f"', '"g"') + "number = 2\n", "s")
