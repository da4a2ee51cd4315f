"""The dialogue with an adapter, against scripted answers in the form the standards print them.

Frames by ISO 15765-4 (single 0L, first 1LLL, next 2N), codes by SAE J1979 mode 3, both from memory;
the number is that of Table V, 49 CFR 565, as bytes.
"""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from driveout.errors import CannotSay
from driveout.wear.adapter import ASKED, SETTING_UP, NoAdapter, Told, ask, greet, messages

VIN = "1G4AH59H45G118341"
CAN_VIN = (
    "7E8 10 14 49 02 01 31 47 34\r7E8 21 41 48 35 39 48 34 35\r7E8 22 47 31 31 38 33 34 31",
    "18 DA F1 10 10 14 49 02 01 31 47 34\r18 DA F1 10 21 41 48 35 39 48 34 35\r18 DA F1 10 22 47 31 31 38 33 34 31",
)
CAN = {
    "ATZ": "ELM327 v1.5",
    "0100": "SEARCHING...\r7E8 06 41 00 BE 3F A8 13",
    "ATDPN": "A6",
    "0101": "7E8 06 41 01 83 07 E5 65",
    # Five codes over two frames from the engine, none from the gearbox.
    "03": "7E8 10 0C 43 05 01 33 03 01\r7E9 02 43 00\r7E8 21 C1 00 01 71 04 20 00",
    "07": "7E8 02 47 00",
    "0A": "NO DATA",
    "0902": CAN_VIN[0],
}
OLD = {
    "ATZ": "ELM327 v2.1",
    "0100": "BUS INIT: OK\r48 6B 10 41 00 BE 3E B8 11 FA",
    "ATDPN": "A3",
    "0101": "48 6B 10 41 01 02 07 65 00 73",
    "03": "48 6B 10 43 01 33 03 01 00 00 3B",
    "07": "NO DATA",
    "0A": "NO DATA",
    "0902": "48 6B 10 49 02 01 00 00 00 31 00\r48 6B 10 49 02 02 47 34 41 48 00\r48 6B 10 49 02 03 35 39 48 34 00\r"
    "48 6B 10 49 02 04 35 47 31 31 00\r48 6B 10 49 02 05 38 33 34 31 00",
}


class Script:
    """A line that answers from a table, with an echo as long as it is not switched off, in torn pieces."""

    def __init__(self, answers: Mapping[str, str | list[str]], piece: int = 7) -> None:
        self.answers = {name: list(a) if isinstance(a, list) else [a] for name, a in answers.items()}
        self.piece, self.out, self.echo = piece, b"", True
        self.sent: list[str] = []

    def write(self, data: bytes) -> None:
        command = data.decode().rstrip("\r")
        self.sent.append(command)
        if command == "ATE0":
            self.echo = False
        known = self.answers.get(command, ["OK"])
        answer = known.pop(0) if len(known) > 1 else known[0]
        if answer == "silence":
            return
        if answer.startswith("raw:"):
            self.out += bytes.fromhex(answer[4:])
            return
        head = f"{command}\r" if self.echo else ""
        self.out += f"{head}{answer}\r\r>".encode()

    def read(self, size: int) -> bytes:
        part, self.out = self.out[: min(size, self.piece)], self.out[min(size, self.piece) :]
        return part


def told(answers: Mapping[str, str | list[str]]) -> Told:
    line = Script(answers)
    return ask(line, greet(line))


def test_codes_monitors_and_number_are_read_on_can() -> None:
    said = told(CAN)

    assert (said.adapter, said.protocol, said.vin) == ("ELM327 V1.5", "ISO 15765-4, 11 bit", VIN)
    assert [code.code for code in said.codes["stored"]] == ["P0133", "P0301", "U0100", "P0171", "P0420"]
    assert said.codes["pending"] == ()
    assert "permanent" not in said.codes
    assert any("about permanent codes; that is not the same as none" in note for note in said.notes)
    # Status 83 07 E5 65: lamp on, three codes; of the fitted E5 the bits 65 wait: four monitors.
    assert (said.lamp_on, said.open_monitors) == (True, 4)
    assert said.entries == {"codes": "stored: P0133 P0301 U0100 P0171 P0420", "not_ready": "yes"}


def test_the_older_buses_carry_the_same_line_by_line() -> None:
    said = told(OLD)

    assert (said.protocol, said.vin) == ("ISO 9141-2", VIN)
    assert [code.code for code in said.codes["stored"]] == ["P0133", "P0301"]
    assert said.open_monitors == 0
    assert "pending" not in said.codes


def test_long_addresses_and_blanks_left_out_are_read_too() -> None:
    lines = CAN_VIN[1].split("\r")

    assert messages(lines, "7") == messages([line.replace(" ", "") for line in lines], "7")
    assert next(iter(messages(lines, "7").values()))[0][3:] == VIN.encode()


def test_nothing_that_clears_ever_goes_out() -> None:
    line = Script(CAN)
    ask(line, greet(line))

    assert set(line.sent) <= {*SETTING_UP, *ASKED}
    assert not any(sent.startswith(("04", "02", "08")) for sent in line.sent)
    assert "" not in line.sent  # a bare return repeats what another program asked


def test_no_stored_code_is_none_when_the_lamp_status_counts_none() -> None:
    clean = told(OLD | {"0101": "48 6B 10 41 01 00 07 65 00 73", "03": "NO DATA"})

    assert clean.codes["stored"] == ()
    assert clean.entries["codes"] == "none"


def test_no_answer_about_codes_is_not_taken_for_none() -> None:
    dumb = told(CAN | {"0101": "NO DATA", "03": "NO DATA", "07": "NO DATA", "0902": "NO DATA"})

    assert dumb.entries == {}
    assert dumb.vin == ""
    assert sum("not the same as none" in note for note in dumb.notes) == 3


def test_fewer_codes_than_counted_are_said() -> None:
    short = told(CAN | {"0101": "7E8 06 41 01 87 07 E5 00"})

    assert "count 7 codes, 5 were told" in " ".join(short.notes)


def test_a_refusal_and_a_busy_word_of_a_unit_are_left_out() -> None:
    said = told(CAN | {"0A": "7E8 03 7F 0A 11", "03": "7E8 03 7F 03 78\r7E8 04 43 01 01 33"})

    assert [code.code for code in said.codes["stored"]] == ["P0133"]
    assert "permanent" not in said.codes


def test_units_that_carry_different_numbers_are_told() -> None:
    other = CAN_VIN[0] + "\r" + CAN_VIN[0].replace("7E8", "7E9").replace("38 33 34 31", "38 33 34 32")

    assert "1G4AH59H45G118342: a unit of another car" in " ".join(told(CAN | {"0902": other}).notes)


@pytest.mark.parametrize(
    "torn",
    [
        "7E8 06 43 02 01 33",
        "7E8 10 0C 43 05 01 33 03 01\r7E8 21 C1 00 01 71",
        "7E8 10 0C 43 05 01 33 03 01\r7E8 22 C1 00 01 71 04 20 00",
        "7E8 10 0C 43 05 01 33 03 01",
        "7E8 06 43 02 01 3",
        "7E8 21 C1 00 01 71 04 20 00",
        "7E8 04 43 01 01 33 <RX ERROR",
        "BUFFER FULL",
        "7E8",
        "raw:374538203034203433",
    ],
)
def test_a_torn_answer_is_asked_again_and_given_up_after_the_second(torn: str) -> None:
    once = told(CAN | {"03": [torn, "7E8 04 43 01 01 33"]})
    assert [code.code for code in once.codes["stored"]] == ["P0133"]
    with pytest.raises(CannotSay, match="broke off twice"):
        told(CAN | {"03": torn})


@pytest.mark.parametrize(
    ("answers", "match"),
    [
        ({"0100": "SEARCHING...\rUNABLE TO CONNECT"}, "Turn the ignition on"),
        ({"0100": "BUS INIT: ...ERROR"}, "Turn the ignition on"),
        ({"0100": "CAN ERROR"}, "Turn the ignition on"),
        ({"0100": "NO DATA"}, "Turn the ignition on"),
        ({"0100": "LV RESET"}, "lost its supply"),
        ({"03": "STOPPED"}, "Something else spoke"),
        ({"ATDPN": "AA"}, "a bus that is not read here"),
        ({"ATDPN": "?"}, "a bus that is not read here"),
    ],
)
def test_a_silent_car_or_bus_is_named_with_what_to_do(answers: dict[str, str], match: str) -> None:
    with pytest.raises(CannotSay, match=match):
        told(CAN | answers)


def test_silence_and_noise_are_no_adapter() -> None:
    with pytest.raises(NoAdapter, match="Nothing answers"):
        greet(Script({"ATZ": "silence"}))
    with pytest.raises(NoAdapter, match="noise"):
        greet(Script({"ATZ": "raw:f80083c6ff3e"}))
    with pytest.raises(NoAdapter, match="not as an adapter"):
        greet(Script({"ATZ": "123 456"}))


def test_a_line_that_never_ends_is_noise() -> None:
    class Endless(Script):
        def read(self, size: int) -> bytes:
            return b"A" * size

    with pytest.raises(NoAdapter, match="noise"):
        greet(Endless({}))
