"""What other threads read of a session while its rig changes is all of one moment."""

from support.growing_session import Growing
from support.places import SHELF
from support.waiting import until

from dashboard.live.conversion_choices import WantedRig
from dashboard.live.watcher import Watch

TEXTS = {path.stem: path.read_text("utf-8") for path in SHELF}
SENSORS = '[[channel]]\nname = "haul_force"\nquantity = "force"\nat = "haul"\nformat = "json"\nid = "f"\nunit = "N"\n'


def test_a_look_in_the_middle_of_a_rig_change_shows_the_rig_before_with_its_moves(
    tmp_path, monkeypatch
):
    session = Growing(tmp_path / "s", rig=TEXTS["3-on-4"], sensors=SENSORS)
    session.event(0.5, "move", value=1.0, text="Set C1")
    session.clock(0.6)
    time_s = [0.6]
    watch = Watch(tmp_path / "s", clock=lambda: time_s[0])
    watch.tick()
    watch.conversion.open(WantedRig(name="complex-5", title="", text=TEXTS["complex-5"]))
    until(lambda: watch.conversion.answer(400, [])["state"] != "working", 20, "a plan")
    seen, change = [], watch.live.loads.change_rig

    def look(model):
        answer = watch.conversion.answer(400, [])
        drawn = watch.drawing(400)
        seen.append((answer["marked"], watch.live.standing()[0], drawn))
        change(model)

    before = watch.drawing(400)
    monkeypatch.setattr(watch.live.loads, "change_rig", look)
    other = TEXTS["3-on-3-on-2"]
    session.writer.copy("rig-2.toml", other.encode())
    session.event(1.0, "rig", text="rig-2.toml")
    session.clock(1.1)
    time_s[0] = 1.1
    watch.tick()
    assert seen[0] == (1, "rig.toml", before)
    answer, drawn = watch.conversion.answer(400, []), watch.drawing(400)
    assert (answer["marked"], watch.live.standing()[0]) == (0, "rig-2.toml")
    assert drawn[0] != before[0] and drawn[1] > before[1]
