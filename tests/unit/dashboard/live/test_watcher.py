"""What the page is told while a session grows."""

import json

import numpy as np
import pytest
from support.channels import force, json_channel, rope
from support.growing_session import DemoPull, Growing, Page
from support.rigs import nine_to_one, three_to_one

from analysis.live.minmax_pyramid import BASE_S
from analysis.live.stroke_remaining import AGAIN_M, MET_M, SOON_M, Remaining
from analysis.mechanics.travel import stroke
from dashboard.live.watcher import Watch

RIG = three_to_one(
    'kind = "slope"\nmass_kg = 620.0\nslope_deg = 6.0\nresistance_coefficient = 0.03\npull_distance_m = 10.0',
    rope="length_m = 50.0\n",
    more="[capture.C1]\nsetback_m = 0.05\n",
)
FORCE = force("u = 1.0", "capacity = 3000.0")
LOAD = json_channel("load_travel", "length", "l", "u = 0.005", at="load")
SENSORS = FORCE + rope() + LOAD
START = 100.0  # this process's clock when a session is opened


def own_cells(page):
    """Parts near their limit that their own cell reads."""
    return [use["name"] for use in page.numbered("use") if use["by"] == "cell"]


class Slipway:
    """A 3:1 hauled as its kinematics say: `pull`, `let_go`, `feed_back`, with a page looking on."""

    def __init__(self, out, rig=RIG, sensors=SENSORS):
        self.session = Growing(out, rig, sensors)
        self.t = self.rope = self.load = 0.0
        self.said = []
        self.mono = START
        self.cell_N = None  # what a cell at the load reads, None while it is silent
        self.watch = Watch(out, clock=lambda: self.mono)
        self.page = Page(self.watch)
        self.go(4.0, 0.0, 0.0, 0.0)

    def go(self, for_s, force, rope_m_s, load_m_s, silent=()):
        for _ in range(round(for_s / 0.1)):
            t = self.t + np.arange(5) * 0.02
            values = {
                "haul_force": np.full(5, force),
                "rope_out": self.rope + rope_m_s * (t - self.t),
                "load_travel": self.load + load_m_s * (t - self.t),
            }
            if self.cell_N is not None:
                values["cell"] = np.full(5, self.cell_N)
            for name, rows in values.items():
                if name in self.session.names and name not in silent:
                    self.session.rows(name, t, rows)
            self.t += 0.1
            self.rope += 0.1 * rope_m_s
            self.load += 0.1 * load_m_s
            self.session.clock(self.t)
            self.look()
        return self.page.now

    def look(self, later_s=0.0):
        self.mono = START + self.t + later_s
        self.watch.tick()
        self.page.ask()
        self.said.append(self.page.now)
        return self.page.now

    def pull(self, load_m, for_s):
        return self.go(for_s, 350.0, 3 * load_m / for_s, load_m / for_s)

    def let_go(self):
        """The load is set on the capture: it comes back by the setback, the cell reads nothing."""
        self.go(0.5, 1.0, -0.1, -0.1)
        return self.go(1.5, 0.5, 0.0, 0.0)

    def feed_back(self, rope_m, for_s=2.0):
        return self.go(for_s, 0.3, -rope_m / for_s, 0.0)


def test_load_set_on_a_capture_is_never_shown_as_no_tension(tmp_path):
    way = Slipway(tmp_path / "s")
    hauling = way.pull(2.0, 6.0)
    assert (hauling["words"], hauling["state"]) == ("HAULING", "haul")
    assert hauling["force_N"] == pytest.approx(350, rel=0.02)
    began = len(way.said)
    held = way.let_go()
    assert held["words"] == "HELD on C1"
    assert held["force_N"] is None and held["last_haul_N"] == pytest.approx(350, rel=0.02)
    assert way.feed_back(3.0)["words"] == "RESETTING" and "C1" in way.page.now["detail"]
    for now in way.said[began:]:
        assert now["force_N"] is None or now["force_N"] > 30, now
        assert "slack" not in json.dumps(now).lower()
    # 3:1 without friction, 350 N at the haul: 1,050 N, all of it on C1; never what the file's mass alone
    # would say, 620 x 9.80665 x (sin 6 + 0.03 cos 6) = 817 N
    assert held["held_N"] == pytest.approx(1050, rel=0.01)


def test_held_over_every_tick_of_the_demo(tmp_path):
    pull = DemoPull(tmp_path / "s", seed=3, for_s=14.0)
    t = [0.0]
    watch = Watch(tmp_path / "s", clock=lambda: t[0])
    page = Page(watch)
    words = set()
    hauled = False
    for k in range(1, 140):
        t[0] = k * 0.1
        pull.feed(t[0])
        watch.tick()
        page.ask()
        words.add(page.now["state"])
        hauled = hauled or page.now["state"] == "haul"
        if hauled:
            for shown in (page.now["force_N"], page.parts["channel:0"]["value"]):
                assert shown is None or shown > 20, page.now
    assert {"before", "haul", "reset"} <= words and "back" not in words
    assert max(page.sizes[1:]) < 1000
    truth = pull.haul.true["actual_ma"]
    value, expanded = page.parts["actual_ma"]["value"], page.parts["actual_ma"]["U95"]
    assert abs(value - truth) < 2 * expanded and page.parts["load_force_method"] == "cell"


def test_stroke_left_reaches_nothing_where_the_bodies_meet_and_starts_anew_after_a_reset(tmp_path):
    way = Slipway(tmp_path / "s")
    first = stroke(way.watch.live.rig)
    assert way.page.now["nearness"] == "far"
    assert way.page.now["load_left_m"] == pytest.approx(first.load_m, abs=0.01)
    assert way.page.now["rope_left_m"] == pytest.approx(first.haul_m, abs=0.02)
    assert way.page.parts["left"]["meets"] == list(first.stopped_by)
    end = way.pull(first.load_m, 12.0)
    assert end["load_left_m"] == pytest.approx(0, abs=0.02)
    assert end["nearness"] == "met"
    assert [now["nearness"] for now in way.said if now["nearness"] in ("soon", "near")]
    way.let_go()
    # G1 slid home from 0.35 m to 9 m, the load where it is: by hand, both strands of the pulley on it
    # grow by that, so twice that is fed back
    x = 12.0 - way.load
    home = min(9.0, x - 0.3)
    slid = home - (0.3 + 0.05)
    now = way.feed_back(2 * slid, 6.0)
    assert now["load_left_m"] is None and "reset" in way.page.parts["left"]["why"]
    # what is left then is what the bodies' places give: G1 meets the anchor, or the load is there
    now = way.pull(0.3, 1.0)
    now = way.pull(0.3, 1.0)
    assert now["load_left_m"] == pytest.approx(home - 0.3 - 0.6, abs=0.15)
    assert way.page.parts["left"]["meets"] == ["G1", "anchor"]


def test_rope_fed_back_that_fits_no_grab_is_said_to_be_unknown(tmp_path):
    way = Slipway(tmp_path / "s", rig=nine_to_one("resistance_N = 2500.0"))
    way.go(10.0, 350.0, 0.9, 0.1)
    way.go(1.0, 0.5, 0.0, 0.0)
    way.feed_back(1.5)  # home is 3 m away for G2 and 1 m for G1
    way.go(2.0, 350.0, 0.9, 0.1)
    assert way.page.now["load_left_m"] is None
    assert "fit no grab" in way.page.parts["left"]["why"]


def test_a_pulled_device_is_no_data_within_a_second_and_a_half(tmp_path):
    way = Slipway(tmp_path / "s")
    way.pull(1.0, 3.0)
    gone = way.t
    way.go(1.4, 0.0, 0.0, 0.0, silent=("haul_force",))
    first = next(now for now in way.said if now["state"] == "nodata")
    assert first["time_s"] - gone < 1.5 and first["force_N"] is None
    assert first["words"] == "NO DATA" and "haul_force" in first["detail"]
    assert (
        way.page.parts["channel:0"]["fault"] == "overdue"
        and way.page.parts["channel:1"]["fault"] == ""
    )


def test_recorder_stalled_gone_or_done_is_said(tmp_path):
    way = Slipway(tmp_path / "a")
    assert way.look(0.9)["state"] == "before"
    stalled = way.look(1.5)
    assert stalled["words"] == "RECORDER STALLED" and stalled["force_N"] is None
    way.session.die()
    cut = way.look(2.5)
    assert cut["words"] == "RECORDING CUT SHORT" and "nothing is recorded" in cut["detail"]
    way = Slipway(tmp_path / "b")
    way.pull(1.0, 3.0)
    way.session.seal()
    done = way.look(0.3)
    assert done["words"] == "RECORDING STOPPED" and done["force_N"] is None and way.watch.finished
    assert done["last_haul_N"] == pytest.approx(350, rel=0.02)


def test_lowering_holding_and_a_load_that_runs_back_have_their_words(tmp_path):
    way = Slipway(tmp_path / "s")
    way.pull(2.0, 6.0)
    assert way.go(1.5, 340.0, 0.0, 0.0)["words"] == "HOLDING"
    assert way.go(1.5, 250.0, -0.3, -0.1)["words"] == "LOWERING"
    way.pull(1.0, 3.0)
    assert way.let_go()["words"] == "HELD on C1"
    assert way.go(1.0, 0.0, 0.0, -0.3)["words"] == "LOAD RUNNING BACK"
    assert way.go(1.5, 0.0, 0.0, 0.0)["words"] == "HELD on C1"
    assert "ran back" in way.page.now["detail"]


def test_without_a_capture_nothing_is_claimed_to_hold(tmp_path):
    rig = RIG.replace('  { capture = "C1", on = "anchor" },\n', "").replace(
        "[capture.C1]\nsetback_m = 0.05\n", ""
    )
    way = Slipway(tmp_path / "s", rig=rig)
    way.pull(2.0, 6.0)
    held = way.let_go()
    assert (
        held["words"] == "HAUL LET GO" and "not known" in held["detail"] and held["force_N"] is None
    )


def test_a_zero_during_the_recording_shifts_the_force_and_leaves_the_ways(tmp_path):
    way = Slipway(tmp_path / "s")
    way.session.event(way.t, "zero", "haul_force", 50.0)
    way.session.event(way.t, "zero", "load_travel", -5.0)
    now = way.pull(2.0, 6.0)
    assert now["force_N"] == pytest.approx(300, rel=0.02)
    assert now["moved_m"] == pytest.approx(2.0, abs=0.05)


def test_alarms_and_marks_reach_the_page_and_hostile_text_stays_text(tmp_path):
    way = Slipway(tmp_path / "s", rig=RIG.replace("Launch", "<img src=x onerror=alert(1)>"))
    way.session.event(way.t, "alarm", "haul_force", 900.0, "stop: haul_force")
    way.session.event(way.t, "mark", "", None, "<script>alert(1)</script>" + "é" * 3000)
    way.pull(1.0, 2.0)
    assert way.page.alarms() == [(2, 2, "haul_force", 0)]
    kinds = {row["kind"]: row["text"] for row in way.page.numbered("event")}
    assert kinds["mark"].startswith("<script>") and len(kinds["mark"]) <= 121
    assert way.page.parts["head"]["title"].startswith("<img")
    way.session.event(way.t, "alarm", "haul_force", 700.0, "clear: haul_force")
    way.pull(1.0, 2.0)
    assert way.page.alarms() == [(0, 2, "haul_force", 0)]
    way.session.event(way.t, "ack", "", None, "haul_force")
    way.pull(1.0, 2.0)
    assert way.page.alarms() == []
    assert max(way.page.sizes[1:]) < 1000


def test_a_session_without_a_haul_cell_or_counter_opens_and_says_what_is_missing(tmp_path):
    way = Slipway(tmp_path / "s", sensors=LOAD)
    now = way.go(1.0, 0.0, 0.0, 0.1)
    assert now["words"] == "NO HAUL CELL" and now["force_N"] is None
    assert way.page.parts.get("actual_ma") is None and "haul" in way.page.parts["why_not"]
    way = Slipway(tmp_path / "t", sensors=FORCE)
    now = way.go(3.0, 300.0, 0.0, 0.0)
    assert now["words"] == "UNDER TENSION" and now["load_left_m"] is None
    assert "no counter" in way.page.parts["left"]["why"]


def test_a_changed_rig_ends_what_is_known_of_the_stroke(tmp_path):
    way = Slipway(tmp_path / "s")
    way.session.event(way.t, "rig", "", None, "rig-2.toml")
    now = way.pull(1.0, 3.0)
    assert now["load_left_m"] is None and "changed" in way.page.parts["left"]["why"]


def test_a_page_that_looked_on_and_one_that_comes_late_hold_the_same(tmp_path):
    pull = DemoPull(tmp_path / "s", seed=1, for_s=90.0)
    t = [0.0]
    watch = Watch(tmp_path / "s", clock=lambda: t[0])
    early = Page(watch, "all")
    for k in range(1, 91):
        t[0] = float(k)
        pull.feed(t[0])
        watch.tick()
        early.ask()
    late = Page(watch, "all")
    while late.ask().get("more"):
        pass
    for _ in range(9):
        early.ask()
        late.ask()
    assert early.level == late.level > 0
    assert early.bins == late.bins and len(late.bins) <= 600
    assert {k: v for k, v in early.parts.items() if v is not None} == {
        k: v for k, v in late.parts.items() if v is not None
    }
    assert max(high for _, high in late.bins.values()) == pytest.approx(
        max(pull.haul.values["haul_force"]), rel=1e-3
    )


def test_a_follower_that_stops_is_told_not_hidden(tmp_path):
    way = Slipway(tmp_path / "s")
    way.pull(1.0, 2.0)
    way.mono += 5.0
    way.page.ask()
    assert way.page.now["words"] == "PAGE IS BEHIND" and "force_N" not in way.page.now


def test_the_page_is_told_levels_shares_and_strands(tmp_path):
    rated = RIG.replace("[capture.C1]\n", "[capture.C1]\nwll_kN = 1.5\n").replace(
        'name = "main"\n', 'name = "main"\nmbs_kN = 30.0\n'
    )
    way = Slipway(
        tmp_path / "s",
        rig=rated,
        sensors=SENSORS.replace("u = 1.0\n", "u = 1.0\nstop_at = 900.0\n", 1),
    )
    head = way.page.parts["head"]
    # C1 may hold 1.5 kN, three times the haul: 500 N; the file's 900 N comes later
    assert [round(level["force_N"]) for level in head["stop_levels"]] == [500, 900]
    assert head["stop_levels"][0]["because"] == "C1: WLL 1.5 kN, held on C1" == head["because"]
    assert (
        head["stop_levels"][1]["because"] == "stop_at of haul_force"
        and head["rated"] < head["parts"]
    )
    assert way.page.parts.get("use:0") is None and way.page.parts["strand:0"] == []
    way.pull(2.0, 6.0)
    name, force, limit, share, over, _ = way.page.parts["use:0"].values()
    assert (name, limit) == ("load>G1", 3000.0) and force == pytest.approx(1050, rel=0.03)
    assert share == pytest.approx(0.35, rel=0.03) and over is False
    assert way.page.now["nearest"] == way.page.parts["use:0"]
    assert "frictionless" in way.page.parts["tensions_from"]
    way.let_go()
    assert way.page.now["state"] == "held"
    name, force, limit, share, *_ = way.page.parts["use:0"].values()
    assert (name, limit) == ("C1", 1500.0) and force == pytest.approx(1050, rel=0.03)
    assert way.page.parts["strand:0"][-1] is None  # the haul strand is not said to carry nothing
    assert "last needed" in way.page.parts["tensions_from"]


def test_a_strand_with_its_own_cell_is_shown_as_the_cell_reads_while_hauled_and_held(tmp_path):
    """1,000 N at the haul of a 3:1, 2,400 N at the load: never 3,000 N, which is over what is allowed."""
    rated = RIG.replace('name = "main"\n', 'name = "main"\nmbs_kN = 28.0\n')
    way = Slipway(
        tmp_path / "s",
        rig=rated,
        sensors=SENSORS + json_channel("cell", "force", "c", "u = 1.0", at="load"),
    )
    assert (
        way.page.parts["head"]["stop_levels"] != []
    )  # another strand's: the haul strand at 2,800 N
    assert [round(level["force_N"]) for level in way.page.parts["head"]["stop_levels"]] == [2800]
    told = []
    for pulled, read in ((1000.0, 2400.0), (1000.0, 2450.0)):
        way.cell_N = read
        way.go(3.0, pulled, 1.0, 1 / 3)
        told.append(list(way.page.parts["use:0"].values())[:4])
        assert way.page.parts["strand:0"][0] == pytest.approx(read)
        assert own_cells(way.page)[0] == "load>G1" and "own cell" in way.page.parts["tensions_from"]
    assert [u[:3] for u in told] == [["load>G1", 2400.0, 2800.0], ["load>G1", 2450.0, 2800.0]]
    way.cell_N = 1500.0
    way.let_go()
    assert way.page.now["state"] == "held" and way.page.parts["strand:0"][0] == pytest.approx(1500)
    way.cell_N = None  # silent: what the load last needed is the most again
    way.go(2.0, 0.5, 0.0, 0.0)
    assert way.page.parts["strand:0"][0] > 2300 and "load>G1" not in own_cells(way.page)


def test_without_the_haul_cell_speaking_shares_stay_at_what_was_last_needed(tmp_path):
    rated = RIG.replace('name = "main"\n', 'name = "main"\nmbs_kN = 30.0\n')
    way = Slipway(tmp_path / "s", rig=rated)
    way.pull(2.0, 6.0)
    way.go(1.6, 0.0, 0.0, 0.0, silent=("haul_force",))
    assert way.page.now["state"] == "nodata" and way.page.now["force_N"] is None
    assert way.page.parts["use:0"]["force_N"] == pytest.approx(1050, rel=0.03)


def test_a_changed_rig_brings_its_own_levels_and_drawing(tmp_path):
    way = Slipway(tmp_path / "s")
    way.pull(1.0, 3.0)
    assert way.page.parts["head"]["stop_levels"] == []
    drawn = way.page.now["drawing"]
    other = RIG.replace('name = "main"\n', 'name = "main"\nmbs_kN = 20.0\n').replace(
        "3:1", "another 3:1"
    )
    way.session.writer.copy("rig-2.toml", other.encode())
    way.session.event(way.t, "rig", "", None, "rig-2.toml")
    now = way.pull(1.0, 3.0)
    assert [round(level["force_N"]) for level in way.page.parts["head"]["stop_levels"]] == [667]
    assert "another" in way.page.parts["head"]["title"] and now["drawing"] > drawn
    assert now["state"] == "haul" and way.page.parts["use:0"]["limit_N"] == 2000.0
    for hostile in ("../../etc/passwd", "rig-9.toml", "rig-2.toml\n", ""):
        way.session.event(way.t, "rig", "", None, hostile)
    way.pull(1.0, 3.0)
    assert way.page.parts["head"]["title"].endswith("another 3:1")


def test_strokes_resets_and_marks_are_told_for_the_graph(tmp_path):
    way = Slipway(tmp_path / "s")
    way.pull(2.0, 6.0)
    way.session.event(way.t, "mark", "", None, "at the fender")
    way.let_go()
    way.feed_back(3.0)
    way.pull(1.0, 3.0)
    told = sorted(way.page.numbered("span"))
    told = [row for row in told if row[2] != "slip"]  # letting go looks like one for a moment
    kinds = [row[2] for row in told]
    assert kinds == ["haul", "mark", "reset", "haul"]
    assert told[0][0] == pytest.approx(4.0, abs=0.4) and told[0][1] == pytest.approx(10.0, abs=0.5)
    assert told[-1][1] is None  # it goes on


def test_the_answer_to_a_request_does_not_wait_for_an_estimate(tmp_path):
    way = Slipway(tmp_path / "s")
    way.watch.follower.estimate.due_s = float("inf")
    way.session.writer.event(way.t, "mark", "", None, "x", "q1")
    way.go(0.1, 0.0, 0.0, 0.0)
    assert way.page.parts["done"] == [{"id": "q1", "kind": "mark", "text": "x"}]


def test_what_the_load_last_needed_outlives_a_change_of_the_rig(tmp_path):
    """300 N on 3:1 is 900 N at the load without friction, also once a 1:1 is there instead."""
    way = Slipway(tmp_path / "s")
    way.go(6.0, 300.0, 1.0, 1.0 / 3)
    straight = (
        'title = "1:1"\nanchor_to_load_m = 12.0\n[load]\nkind = "slope"\nmass_kg = 620.0\nslope_deg = 6.0\n'
        'resistance_coefficient = 0.03\n[[rope]]\nname = "main"\npath = [ { tie = "load" }, '
        '{ capture = "C1", on = "anchor" }, { pulley = "A1", on = "anchor" }, { haul = "team" } ]\n'
    )
    way.let_go()
    way.session.writer.copy("rig-2.toml", straight.encode())
    way.session.event(way.t, "rig", "", None, "rig-2.toml")
    held = way.go(1.0, 0.5, 0.0, 0.0)
    assert held["state"] == "held" and held["held_N"] == pytest.approx(900, rel=0.03)
    assert any("rig was changed" in text for text in way.page.numbered("warning"))


def test_a_level_passed_too_shortly_for_an_alarm_is_told_all_the_same(tmp_path):
    way = Slipway(
        tmp_path / "s", sensors=SENSORS.replace("u = 1.0\n", "u = 1.0\nstop_at = 500.0\n", 1)
    )
    way.pull(1.0, 3.0)
    way.session.rows("haul_force", [way.t - 0.011, way.t - 0.002], [640.0, 350.0])
    way.pull(1.0, 3.0)
    kinds = {row["kind"]: row["text"] for row in way.page.numbered("event")}
    assert "stop_at of 500" in kinds["shortly over"] and way.page.alarms() == []
    assert way.page.parts["sudden"]["kind"] == "shortly over" and way.page.now["peak_N"] == 640


@pytest.mark.parametrize(
    ("left_m", "nearness"),
    [(None, None), (0.0, "met"), (MET_M - 1e-6, "met"), (MET_M, "soon"), (SOON_M - 1e-6, "soon"),
     (SOON_M, "near"), (AGAIN_M, "near"), (AGAIN_M + 1e-6, "far")],
)  # fmt: skip
def test_how_near_two_blocked_is_follows_from_the_load_travel_that_is_left(left_m, nearness):
    assert 0 < MET_M < SOON_M < AGAIN_M
    assert Remaining(load_m=left_m, rope_m=None).nearness == nearness


def test_the_page_is_sent_which_level_the_haul_force_is_above(tmp_path):
    own = "u = 1.0\nwarn_at = 250.0\nstop_at = 400.0\n"
    way = Slipway(tmp_path / "s", sensors=SENSORS.replace("u = 1.0\n", own, 1))
    head = way.page.parts["head"]
    assert head["caution_N"] == 250.0 and head["stop_levels"][0]["force_N"] == 400.0
    assert head["bin_s"] == BASE_S
    for force_N, reached in ((200.0, ""), (300.0, "caution"), (500.0, "stop"), (300.0, "caution")):
        now = way.go(2.0, force_N, 0.3, 0.1)
        assert now["reached"] == reached, force_N
        assert now["stop_share"] == pytest.approx(force_N / 400.0, rel=0.01)
        assert now["peak_over"] == (now["peak_N"] > 400.0)
    now = way.let_go()
    assert now["reached"] == "" and now["stop_share"] is None and now["peak_over"] is True
    assert way.page.parts["alarms"] == {"count": 0, "sounding": 0}
    way.session.event(way.t, "alarm", "haul_force", 500.0, "stop: haul_force")
    way.go(0.5, 0.5, 0.0, 0.0)
    assert way.page.parts["alarms"] == {"count": 1, "sounding": 2}
    assert way.page.parts["alarm:0"]["channel"] == 0
    way.session.event(way.t, "ack", "haul_force", None, "haul_force")
    way.go(0.5, 0.5, 0.0, 0.0)
    assert way.page.parts["alarms"]["sounding"] == 0


NO_LOAD_COUNTER = FORCE + rope()
FIVE_TO_ONE = (
    'title = "5:1"\nanchor_to_load_m = 12.0\n[load]\nkind = "slope"\nmass_kg = 620.0\nslope_deg = 6.0\n'
    'resistance_coefficient = 0.03\n[[rope]]\nname = "main"\npath = [ { tie = "load" }, { grab = "G1", at_m = 9.0 }, '
    '{ capture = "C1", on = "anchor" }, { pulley = "A1", on = "anchor" }, { pulley = "T1", on = "G1" }, '
    '{ pulley = "A2", on = "anchor" }, { pulley = "T2", on = "G1" }, { haul = "team" } ]\n'
)


def test_rope_fed_back_on_a_held_load_is_no_load_running_back(tmp_path):
    """Without a counter at the load 6 m of rope on 3:1 are 2.00 m, and stay 2.00 m while rope is fed back."""
    way = Slipway(tmp_path / "s", sensors=NO_LOAD_COUNTER)
    assert way.pull(2.0, 6.0)["moved_m"] == pytest.approx(2.0, abs=0.02)
    way.let_go()
    moved = way.page.now["moved_m"]
    way.feed_back(4.0)
    way.feed_back(1.5)
    assert way.page.now["moved_m"] == moved == pytest.approx(2.0, abs=0.02)


def test_after_a_change_of_the_rig_rope_counts_by_the_new_ratio_and_rope_left_is_known_from_a_reset_on(
    tmp_path,
):
    way = Slipway(tmp_path / "s", sensors=NO_LOAD_COUNTER)
    way.pull(1.0, 4.0)
    way.let_go()
    way.session.writer.copy("rig-2.toml", FIVE_TO_ONE.encode())
    way.session.event(way.t, "rig", "", None, "rig-2.toml")
    way.go(2.0, 0.5, 0.0, 0.0)
    assert way.page.now["rope_left_m"] is None
    assert "every grab was slid back" in way.page.parts["left"]["why"]
    way.go(5.0, 200.0, 0.5, 0.1)  # 2.5 m of rope on 5:1
    assert way.page.now["moved_m"] == pytest.approx(1.0 + 2.5 / 5, abs=0.03)
    way.go(2.5, 0.5, 0.0, 0.0)
    way.feed_back(2.5)
    way.go(0.5, 0.5, 0.0, 0.0)
    way.go(3.0, 200.0, 0.3, 0.06)
    assert way.page.now["rope_left_m"] is not None
    rig = way.watch.live.in_use.rig
    x = rig.start_m.copy()
    x[rig.index["load"]] -= 1.5
    begun = stroke(rig, x)
    assert way.page.now["rope_left_m"] == pytest.approx(begun.haul_m - 0.9, abs=0.4)
    assert way.page.parts["predicted"]["ideal_ma"] == 5.0


def test_where_nothing_but_a_cell_is_there_the_load_looks_held(tmp_path):
    way = Slipway(tmp_path / "s", sensors=FORCE)
    way.go(4.0, 350.0, 0.0, 0.0)
    held = way.go(2.5, 0.5, 0.0, 0.0)
    assert held["words"] == "LOOKS HELD on C1" and "no counter" in held["detail"]
