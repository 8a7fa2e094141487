"""Mistakes that a person can't make on the desk's pages: each is asked about, refused or said at its place."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from tempfile import mkdtemp

import pytest
from support.channels import channel
from support.emulated_devices import CATALOGUE
from support.held_device import HeldDevice
from support.page_hand import SHOWN, PageHand
from support.processes import PageProcess, end, start_haul
from support.rigs import three_to_one
from support.systems import pseudo_terminals
from support.waiting import Limit, until

from analysis.rig_file.load import load_rig
from logger.channels.sensors_file import load_sensors
from logger.session.reader import open_session, read_all
from logger.transports.serial import open_port

pytestmark = [
    pseudo_terminals,
    pytest.mark.many,
]  # further ways through pages that other tests open
JOB = "resistance_N = 900.0\npull_distance_m = 6.0"
RIG = three_to_one(JOB, knot=None, rope="mbs_kN = 28.0\n")
SAID = "(document.getElementById('said')?.innerText ?? '')"
STEP = "(document.getElementById('step')?.innerText ?? '')"
BARE = replace(CATALOGUE["bare number"], rate_hz=20.0)
APPEARS_S = 2.0  # required: from a device that is plugged in to the word on the page


@pytest.fixture
def wires():
    """A short folder for devices, and a way to plug one in; all are pulled out in the end."""
    folder = Path(mkdtemp(prefix="w"))
    plugged: list[HeldDevice] = []

    def plug(write: Callable[[float], bytes], value: float, noise: float) -> HeldDevice:
        """A device that sends these lines at 9600 8N1, 20 a second."""
        row = replace(BARE, write=write, baud=9600, decimals=3)
        device = HeldDevice(row, folder, len(plugged) + 1, apart=True, noise=noise)
        device.value = value
        plugged.append(device)
        return device

    plug.folder = folder  # type: ignore[attr-defined]
    yield plug
    for one in plugged:
        one.close()
    shutil.rmtree(folder)


@pytest.fixture(scope="module")
def launch(tmp_path_factory):
    """A desk with one rig, whose tie states no knot."""
    folder = tmp_path_factory.mktemp("launch")
    (folder / "launch.toml").write_text(RIG, "utf-8")
    with PageProcess("desk", folder) as desk:
        desk.rig = folder / "launch.toml"
        yield desk


def rig_page(browser, desk: PageProcess) -> PageHand:
    """The page of the rig, drawn."""
    hand = PageHand(browser, desk)
    hand.go("rig/launch/", "!!document.querySelector('#drawing svg')")
    return hand


class TestKnotsAndHitches:
    def test_a_tie_without_a_knot_counts_as_half_and_says_so(self, browser, launch):
        hand = rig_page(browser, launch)
        hand.says("0.50 is assumed", "28 kN breaking strength x 0.5 (knot, assumed) / 10")
        hand.press(
            "tied to load", "No knot is chosen. Assumed: unknown 0.50 ± 0.10", within="#ropes"
        )
        hand.fits("a tie without a knot")
        hand.press("bowline 0.55", "Assumed: bowline 0.55 ± 0.08", within="#menu")
        hand.says("28 kN breaking strength x 0.55 (bowline) / 10")
        hand.silent("0.50 is assumed", "No knot is chosen")
        hand.press("Save")
        hand.wait("document.getElementById('status').innerText === 'saved'")
        assert 'knot = "bowline"' in launch.rig.read_text("utf-8")
        tie = load_rig(launch.rig).stations[0]
        assert (tie.knot, tie.strength) == ("bowline", 0.55)

    def test_one_slip_load_says_that_hitches_scatter(self, browser, launch):
        hand = rig_page(browser, launch)
        hand.press("capture C1", "Capture C1", within="#ropes")
        hand.write(
            "Force at which it begins to slip", "4 kN", "One slip load is stated", within="#menu"
        )
        hand.says("hitches scatter from tying to tying, so a hitch is no calibrated force limiter")
        hand.write("Standard uncertainty of slips_at_kN", "0.5", within="#menu")
        hand.silent("One slip load is stated", "no calibrated force limiter")
        hand.press("Save")
        hand.wait("document.getElementById('status').innerText === 'saved'")
        rating = load_rig(launch.rig).ratings["C1"]
        assert (rating.slips_N, rating.slips_u_N) == (4000.0, 500.0)


NO_STRENGTH = {
    "1,5": '"1,5": is the comma a decimal mark?; type 1.5 if it is',
    "2,000": "type 2.000 if it is, or 2000 if it parts thousands",
    "1,412.7": "do commas part thousands?; type 1412.7 if they do",
    "5 stone": '"stone" is no unit for it; type a number with one of kN N lbf kgf',
    "3 furlongs": '"furlongs" is no unit for it; type a number with one of kN N lbf kgf',
    "abc": '"abc" is no number; type a number with one of kN N lbf kgf',
}


class TestNumbersTypedOnTheRigPage:
    STRENGTH = "Minimum breaking strength, kN"

    def test_a_strength_of_newtons_typed_as_kilonewtons_is_asked_about_and_not_saved(
        self, browser, launch
    ):
        before = launch.rig.read_bytes()
        hand = rig_page(browser, launch)
        hand.write(self.STRENGTH, "30000 kN", "did you mean N, not kN? write mbs_kN = 30")
        hand.press("Save")
        hand.says("not saved", "did you mean N, not kN?", within=SAID)
        hand.fits("a rig with 30000 kN")
        hand.press("Undo")
        hand.silent("did you mean N")
        assert launch.rig.read_bytes() == before

    def test_what_is_no_strength_is_answered_with_what_is(self, browser, launch):
        before = launch.rig.read_bytes()
        hand = rig_page(browser, launch)
        for typed, answer in NO_STRENGTH.items():
            hand.write(self.STRENGTH, typed)
            hand.says(answer, within=SAID)
            assert "did you mean" not in browser.text("said")
        hand.write("How many people haul", "2.5")
        hand.says('"2.5" is no whole number; type a whole number without a unit', within=SAID)
        assert browser.text("status") == "saved"
        assert launch.rig.read_bytes() == before

    def test_words_are_chosen_and_never_typed(self, browser, launch):
        hand = rig_page(browser, launch)
        hand.press("tied to load", "Its knot keeps", within="#ropes")
        fields = browser.js(
            "return [...document.querySelectorAll('#job label, #menu label')].map(l => l.innerText.toLowerCase())"
        )
        for word in ("ground", "surface", "knot", "footing", "kind", "preset"):
            assert not [field for field in fields if field.startswith(word)], fields
        assert browser.js("return [...document.querySelectorAll('#job button')].some(b => b.textContent.startsWith('greased ways'))")  # fmt: skip


def _port(port: str) -> str:
    """The script that finds a port of the sensors page by its path."""
    return f"[...document.querySelectorAll('.port')].find(p => p.innerText.includes({port!r}))"


def touched_number(hand: PageHand, port: str) -> None:
    """Touch the first number in the last line of a port."""
    number = f"{_port(port)}?.querySelector('.lines')?.lastElementChild?.querySelector('button')"
    hand.wait(f"!!({number})")
    hand.browser.js(f"{number}.click()")
    hand.says("What does this number tell?", within=STEP)


def listened(hand: PageHand, port: str) -> None:
    """Listen to a port by its path."""
    hand.write("Another address", port)
    hand.wait(f"document.getElementById('ports').innerText.includes({port!r})")


def cell_at_the_haul(hand: PageHand, port: str, unit: str, where: str = "The haul strand") -> None:
    """Make the first number of a port a force at the haul, up to the question after the pull."""
    touched_number(hand, port)
    hand.press("A force", "Which unit does it have?", within="#step")
    hand.press(unit, "Where does it sit?", within="#step")
    hand.press(where, "Pull once", within="#step")


class TestCommas:
    def test_a_comma_is_asked_about_and_what_is_recorded_is_right(self, browser, tmp_path, wires):
        (tmp_path / "launch.toml").write_text(RIG, "utf-8")
        cell = wires(lambda v: f"{v:.2f} kN\r\n".replace(".", ",").encode(), 1.90, 0.0)
        winch = wires(lambda v: f"{v:,.1f} N\r\n".encode(), 1412.7, 0.0)
        with PageProcess("desk", tmp_path) as desk:
            hand = PageHand(browser, desk)
            hand.go("sensors/", "!!document.querySelector('.typed input')")
            for device in (cell, winch):
                listened(hand, device.port)
            port = _port(cell.port)
            hand.says("A comma stands in its numbers: 1,90 kN. What is it?")
            # until it is said no number can be touched
            assert browser.js(f"return {port}.querySelectorAll('.lines button').length") == 0
            hand.fits("a comma is asked about")
            hand.press("one number with a decimal comma", within=".port")
            cell_at_the_haul(hand, cell.port, "kN, as the device says")
            hand.press("Close")
            if "A comma stands in its numbers: 1,412.7 N" in browser.text("ports"):
                hand.press("a number with commas between thousands", within=".port")
            cell_at_the_haul(hand, winch.port, "N, as the device says", "The load")
            hand.press("Close")
            hand.says("1900 N (1.9 kN)", "1410 N (1412.7 N)")
            hand.write("Name of the new file", "commas", "Saved as commas.toml")
        sensors = load_sensors(tmp_path / "commas.toml")
        assert [one.name for one in sensors.channels] == ["haul_force", "load_force"]
        out = tmp_path / "haul"
        recorder = start_haul(
            "record", tmp_path / "launch.toml", tmp_path / "commas.toml", "--out", out
        )
        try:
            table = out / "readings.csv"
            until(lambda: table.exists() and {"haul_force", "load_force"} <= {
                row.split(",")[1] for row in table.read_text("utf-8").splitlines()[1:] if row.count(",") == 2
            }, 20, "readings of both")  # fmt: skip
        finally:
            end(recorder)
        si = {
            name: set(channel_of.si(readings.reading).round(6).tolist())
            for name, readings in read_all(out).readings.items()
            for channel_of in open_session(out).sensors.channels
            if channel_of.name == name
        }
        assert si == {"haul_force": {1900.0}, "load_force": {1412.7}}


class TestSensorsThatCannotBeSavedInSilence:
    def test_counts_units_signs_and_accuracy(self, browser, tmp_path, wires):
        (tmp_path / "launch.toml").write_text(RIG, "utf-8")
        cell = wires(lambda v: b"%.1f\r\n" % v, 0.0, 0.1)
        with PageProcess("desk", tmp_path) as desk:
            hand = PageHand(browser, desk)
            hand.go("sensors/", "!!document.querySelector('.typed input')")
            listened(hand, cell.port)
            # counts whose size is not known are no file
            touched_number(hand, cell.port)
            hand.press("A force", "Which unit does it have?", within="#step")
            hand.press("count", "How much is one count?", within="#step")
            hand.write("One count", "0,5 N", within="#step")
            hand.says("type 0.5 N if it is", within=SAID)
            hand.write("One count", "abc", within="#step")
            hand.says('"abc" is no number; type such as 0.5 N or 0.5 mm', within=SAID)
            hand.press("Not known", "Where does it sit?", within="#step")
            hand.press("The haul strand", "No number has moved yet", within="#step")
            cell.value = -150.0
            hand.says("So a pull counts as negative.", within=STEP)
            hand.press("Next", "Zero: is nothing on it?", within="#step")
            cell.value = 0.0
            hand.press("Close")
            hand.says("a pull counts as negative; turn it round under Change, Pull once")
            hand.says('scale: is missing, and unit = "count" needs it; write scale')
            hand.write("Name of the new file", "cell")
            hand.says("not saved", 'unit = "count" needs it', within=SAID)
            assert not (tmp_path / "cell.toml").exists()
            # a wrong unit shows by a known weight, at the pull and at the weight
            hand.press("Change", within="#channels")
            hand.press("Its unit", "Which unit does it have?", within="#step")
            hand.press("kgf", "Change this channel", within="#step")
            hand.press("Known weight", "A known weight", within="#step")
            hand.wait(f"{STEP}.includes('scatter') && !{STEP}.includes('it moves')")
            hand.press("Nothing is on it", "nothing: shows", within="#step")
            cell.value = 196.1  # 20 kg in newtons: 9.8 times what kgf would show
            hand.wait(f"{STEP}.includes('Now 1920 N') && !{STEP}.includes('it moves')")
            hand.write("Known weight", "1,5 kg", within="#step")
            hand.says("type 1.5 kg if it is", within=SAID)
            hand.write("Known weight", "5 stone", within="#step")
            hand.says(
                '"stone" is no unit of a force; type a number with one of N daN kN', within=SAID
            )
            hand.write(
                "Known weight",
                "20 kg",
                "It looks like N, not kgf: 196.1 is shown for 20 kg",
                within="#step",
            )
            assert "Use the scale" not in browser.text("step")
            hand.fits("a known weight that shows another unit")
            hand.press("Make it N", within="#step")
            hand.says("sends N")
            hand.press("Close")
            # a pull that counted as negative stays said, also when the file is saved
            hand.write("Name of the new file", "cell", "Saved as cell.toml")
            hand.says(
                "haul_force: a pull counts as negative",
                "haul_force: no accuracy is stated, so the review gives no interval; say how good it is",
                within=SAID,
            )
            # turned round and with its accuracy it is saved without a word more
            hand.press("Change", within="#channels")
            hand.press("Pull once", "No number has moved yet", within="#step")
            cell.value = -1e5  # far beyond what it showed in the seconds before
            hand.says("So a pull counts as negative.", within=STEP)
            hand.press("Turn it round", "as it shall", within="#step")
            hand.press("Close")
            hand.silent("a pull counts as negative; turn it round")
            hand.press("Change", within="#channels")
            hand.press("How good it is", "How good is it?", within="#step")
            hand.write("Standard uncertainty, %", "0,5", within="#step")
            hand.says("type 0.5 if it is", within=SAID)
            hand.write("Standard uncertainty, %", "abc", within="#step")
            hand.says("type a number from 0 to 100", within=SAID)
            hand.write("Standard uncertainty, %", "0.5", "Change this channel", within="#step")
            hand.press("Close")
            hand.press("Save cell.toml", "Saved as cell.toml. It is the file of the next haul.")
            assert "accuracy" not in browser.text("said") + browser.text("channels")
        (force,) = load_sensors(tmp_path / "cell.toml").channels
        assert (force.unit, force.scale, force.u_percent) == ("N", -1.0, 0.5)


def test_a_port_that_another_program_has_open_is_said_so_and_comes_when_it_is_let_go(
    browser, tmp_path, wires
):
    cell = wires(lambda v: b"%.1f N\r\n" % v, 12.0, 0.1)
    held = open_port(cell.port, 9600)  # as the recorder opens it: locked, for one program alone
    (tmp_path / "launch.toml").write_text(RIG, "utf-8")
    lines = channel(
        "haul_force", "force", port=cell.port, baud=9600, format="text", unit="N", u=2.0
    )
    (tmp_path / "loggers.toml").write_text(lines, "utf-8")
    try:
        with PageProcess("desk", tmp_path) as desk:
            hand = PageHand(browser, desk)
            hand.go(
                "sensors/", f"document.getElementById('ports').innerText.includes({cell.port!r})"
            )
            port = _port(cell.port)
            hand.browser.js(
                f"[...{port}.querySelectorAll('button')].find(b => b.innerText === 'Listen').click()"
            )
            hand.says(
                "cannot be opened: another program has it open: close it",
                within=f"{port}.innerText",
            )
            hand.go("check/", "document.querySelectorAll('.check').length > 6")
            hand.says(
                f"another program has {cell.port} open",
                "close that program, or choose another port",
                within=SHOWN,
            )
            hand.fits("the check with a busy port")
            held.close()
            hand.wait(f"/1[12]\\.[0-9] N sent/.test({SHOWN})")
    finally:
        held.close()


WRONG = {
    "comma.toml": (RIG.replace("900.0", "900,0"), "900,0 has a comma, and TOML takes a point as the decimal mark; write 900.0"),
    "curly.toml": (RIG.replace('"', "“", 1).replace('"', "”", 1), "there are curly quotes, and TOML takes straight ones alone; write title ="),
    "missing.toml": (RIG.replace('{ tie = "load" },', '{ tie = "load" }'), "comma"),
    "late.toml": ("", "the grab is written behind C1; move it one line up"),
    "neither.toml": ('colour = "grey"\n', "is neither a rig file nor a sensors file; a rig has [[rope]] tables"),
    "counts.toml": (channel("haul_force", "force", port="/dev/ttyUSB7", baud=9600, format="columns", column=1, unit="count"),
                    'channel haul_force: scale: is missing, and unit = "count" needs it; write scale'),
}  # fmt: skip


@pytest.fixture(scope="module")
def muddled(tmp_path_factory):
    """A desk over a folder of wrong files, a rig named as a sensors file and a sensors file named as a rig."""
    folder = tmp_path_factory.mktemp("muddled")
    lines = RIG.splitlines(keepends=True)
    grab = next(k for k, line in enumerate(lines) if "grab" in line)
    lines[grab], lines[grab + 1] = lines[grab + 1], lines[grab]
    for name, (text, _) in WRONG.items():
        (folder / name).write_text(text or "".join(lines), "utf-8")
    (folder / "sensors.toml").write_text(RIG.replace("Launch on its cradle", "Sill"), "utf-8")
    cell = channel("haul_force", "force", port="/dev/ttyUSB7", baud=9600, format="text", unit="N")
    (folder / "rig.toml").write_text(cell, "utf-8")
    with PageProcess("desk", folder) as desk:
        yield desk


class TestWrongFiles:
    @pytest.mark.parametrize(
        ("page", "names"),
        [
            ("", WRONG),
            ("rig/", [name for name in WRONG if name != "counts.toml"]),
            ("sensors/", [name for name in WRONG if name != "late.toml"]),
            ("check/", WRONG),
        ],
        ids=["home", "rig", "sensors", "check"],
    )
    def test_each_page_names_the_file_the_place_and_the_cure(self, browser, muddled, page, names):
        hand = PageHand(browser, muddled)
        hand.go(page, f"{SHOWN}.includes('Sill') || {SHOWN}.length > 900")
        for name in names:
            hand.says(name.removesuffix(".toml"), WRONG[name][1], within=SHOWN)
        assert "Traceback" not in browser.text("page")
        hand.fits(f"{page} of a muddled folder")
        assert browser.console() == []

    def test_swapped_files_are_taken_for_what_they_hold(self, browser, muddled):
        hand = PageHand(browser, muddled)
        hand.go("sensors/", "!!document.querySelector('#file button')")
        files = browser.js("return [...document.querySelectorAll('[aria-label=\"Sensors files of the folder\"] button')].map(b => b.innerText)")  # fmt: skip
        assert files == ["counts.toml", "rig.toml", "A new file"]
        hand.go("rig/sensors/", "!!document.querySelector('#drawing svg')")
        hand.go("rig/rig/", f"{SHOWN}.includes('What it does')")
        hand.says(
            "This rig can't work yet. rig.toml: this is a sensors file, not a rig file",
            within=SHOWN,
        )
        hand.press("Save")
        hand.says("not saved: this is a sensors file", within=SAID)

    def test_a_grab_behind_the_capture_is_said_where_it_stands(self, browser, muddled):
        hand = PageHand(browser, muddled)
        hand.go("rig/late/", "!!document.querySelector('#ropes .what-is-wrong')")
        hand.says(
            "the grab is written behind C1; move it one line up",
            within="(document.getElementById('ropes')?.innerText ?? '')",
        )


def test_a_device_that_is_plugged_in_shows_within_two_seconds(browser, tmp_path, wires):
    """The sensors file names it by a link in a folder of devices, as the system makes them by serial number."""
    link = wires.folder / "device-1"
    lines = channel(
        "haul_force", "force", port=str(link), baud=9600, format="text", unit="N", u=2.0
    )
    (tmp_path / "loggers.toml").write_text(lines, "utf-8")
    (tmp_path / "launch.toml").write_text(RIG, "utf-8")
    word = f"{_port(str(link))}?.querySelector('.word').innerText"
    with PageProcess("desk", tmp_path) as desk:
        hand = PageHand(browser, desk)
        hand.go("sensors/", f"({word}) === 'not plugged in'")
        limit = Limit(APPEARS_S)
        wires(lambda v: b"%.1f N\r\n" % v, 12.0, 0.1)
        hand.wait(f"({word}) === 'plugged in'")
        assert not limit.over(), f"{limit.passed_s():.1f} s"


@pytest.mark.parametrize(
    ("people", "said"), [(1, "they assume 1 hauler at"), (2, "they assume 2 haulers at")]
)
def test_haulers_are_counted_in_words(browser, launch, people, said):
    team = f'[team]\npeople = {people}\nfooting = "good"\n'
    rope = "mbs_kN = 28.0\nlength_m = 80.0\n"
    (launch.rig.parent / f"for {people}.toml").write_text(
        three_to_one(JOB, rope=rope) + team, "utf-8"
    )
    hand = PageHand(browser, launch)
    hand.go(f"rig/for%20{people}/", "!!document.querySelector('#drawing svg')")
    hand.press("Which rig does the job?")
    hand.says(said, within="(document.getElementById('menu')?.textContent ?? '')")
    assert "(s)" not in browser.js("return document.body.textContent")


def test_what_must_be_held_has_its_number_and_unit(browser, tmp_path):
    slope = 'kind = "slope"\nmass_kg = 400.0\nslope_deg = 20.0\nresistance_coefficient = 0.05'
    (tmp_path / "launch.toml").write_text(three_to_one(slope), "utf-8")
    with PageProcess("plan", tmp_path / "launch.toml") as page:
        browser.open(page.link)
        held = "/hold at least [0-9.]+ ± [0-9.]+ k?N, or the load runs back/.test(document.body.innerText)"
        until(lambda: browser.js(f"return {held}"), 10, "what must be held")
