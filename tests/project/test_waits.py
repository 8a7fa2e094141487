"""Tests wait for conditions through support.waiting: a sleep stands only where passing time is the subject."""

from __future__ import annotations

import ast

import pytest
from support.places import ROOT

FILES = sorted(
    path
    for path in (ROOT / "tests").rglob("*.py")
    if path.parent.name != "benchmarks"  # they measure at a pace of their own
)
# file and functions that sleep: a device's pace, a silence, a moment chosen at random, or the poll itself
SLEEPS = {
    "browser/test_long_watch.py": {
        "test_half_an_hour_of_watching_grows_the_browsers_heap_by_less_than_20_mb"
    },
    "browser/test_sharing.py": {"test_a_page_that_did_not_watch_says_for_how_long"},
    "browser/test_us_pages.py": {"test_the_live_page_of_a_running_haul"},
    "browser/test_watch_page.py": {
        "test_sound_is_asked_for_after_a_touch_and_by_nothing_else",
        "test_a_mark_and_a_zero_land_as_events_and_are_shown_as_taken",
    },
    "project/test_readme.py": {"TourDevice"},
    "support/processes.py": {"CommandedDevice"},
    "support/waiting.py": {"until", "until_steady"},
    "support/yard.py": {"silent_wire"},
    "trust/test_all_at_once.py": {"attacked"},
    "trust/test_crash.py": {
        "killed_sessions",
        "power_cuts",
        "test_a_folder_copied_while_it_grows_opens_and_can_be_sealed",
    },
    "trust/test_disk.py": {
        "test_a_disk_that_refuses_to_the_end_leaves_what_it_took_and_counts_the_rest",
        "test_a_slow_fsync_holds_up_no_row",
        "test_a_full_disk_shows_on_the_terminal_within_a_second",
        "test_a_real_file_system_fills_up_and_gets_room_again",
    },
    "trust/test_soak.py": {"test_soak"},
    "trust/test_stall.py": {"stop"},
    "trust/test_time.py": {
        "test_a_held_up_thread_is_no_sleep",
        "test_bursts_of_16_ms_are_spread_over_the_time_that_they_took",
    },
    "trust/test_wires.py": {
        "test_an_unplugged_socket_gives_its_first_row_within_a_second_of_its_return",
        "test_a_terminal_that_is_replugged_under_the_same_name",
        "test_another_device_under_the_name_is_told_and_nothing_of_it_is_taken",
        "test_a_wrong_speed_is_garbage_that_is_counted",
        "test_a_flood_of_ten_times_the_rate_is_taken_whole",
        "test_silence_is_a_gap_when_it_ends_and_at_the_end",
        "test_a_flood_of_garbage_is_told_and_costs_neither_memory_nor_the_other_port",
        "test_what_a_device_sends_before_it_hangs_up_is_there_to_the_last_line",
    },
    "unit/dashboard/commands/test_watch.py": {
        "test_it_waits_for_the_session_and_ends_by_itself_when_that_is_sealed"
    },
    "unit/logger/formats/test_line_ends.py": {
        "test_a_silence_of_30_ms_ends_a_line_and_a_shorter_one_does_not"
    },
    "unit/logger/channels/test_device_clock.py": {
        "test_a_burst_is_recorded_with_the_devices_spacing"
    },
    "unit/logger/transports/test_mqtt.py": {
        "test_a_broker_that_goes_and_comes_is_told_and_read_again"
    },
    "unit/logger/transports/test_stream.py": {
        "test_bytes_that_were_lost_while_the_reader_was_held_up_are_in_doubt_wherever_it_was",
        "test_a_stall_with_little_in_the_buffer_doubts_nothing",
    },
    "unit/logger/recorder/test_port_warnings.py": {"test_ports_that_are_understood_are_not_told"},
    "unit/dashboard/test_stop_signals.py": {
        "test_a_signal_in_the_first_moments_leaves_no_trace",
        "test_a_demo_is_sealed_or_says_that_there_is_no_session",
    },
    "unit/logger/recorder/test_disk_retry.py": {"SlowOnce"},
    "unit/logger/recorder/test_recorder.py": {
        "test_two_ports_are_recorded_whole_and_sealed",
        "test_a_row_is_in_the_file_within_50_ms_of_its_arrival",
        "test_a_pulled_terminal_is_told_and_a_new_one_is_taken_up",
        "test_a_comma_that_is_not_guessed_is_told_once_with_what_to_write",
        "test_wait_keeps_trying",
        "test_alarms_are_judged_stored_and_acknowledged",
    },
    "unit/logger/recorder/test_zeroing.py": {"SteadyDevice"},
}


def sleeps(tree: ast.Module) -> list[tuple[str, int]]:
    """Name of the outermost function or class around each call of `time.sleep`, and its line."""
    return [
        (getattr(outer, "name", "<module>"), node.lineno)
        for outer in tree.body
        for node in ast.walk(outer)
        if isinstance(node, ast.Call) and ast.unparse(node.func) in ("time.sleep", "sleep")
    ]


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_sleep_stands_in_the_list_and_has_its_reason_beside(path):
    text = path.read_text("utf-8")
    named = SLEEPS.get(str(path.relative_to(ROOT / "tests")), set())
    lines = text.splitlines()
    for name, number in sleeps(ast.parse(text)):
        assert name in named, f"{name} sleeps in line {number}: wait for a condition, with `until`"
        assert "#" in lines[number - 1] or path.parent.name == "support", (
            f"{name}, line {number}: write beside the sleep why time itself must pass"
        )


def test_the_list_names_only_what_sleeps():
    for file, names in SLEEPS.items():
        tree = ast.parse((ROOT / "tests" / file).read_text("utf-8"))
        assert names == {name for name, _ in sleeps(tree)}, file


GUARD_S = 600  # from here on a limit only keeps a test from hanging, on however busy a machine


def fixed_limits(tree: ast.Module) -> list[tuple[str, int]]:
    """Each wait for a thread or a process with a limit that a busy machine may pass: its call, and its line."""
    found = []
    for node in ast.walk(tree):
        if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)):
            continue
        if node.func.attr not in ("join", "wait", "communicate", "wait_client"):
            continue
        limits = [*node.args[:1], *(word.value for word in node.keywords if word.arg == "timeout")]
        numbers = [one.value for one in limits if isinstance(one, ast.Constant)]
        if any(isinstance(one, int | float) and 1 <= one < GUARD_S for one in numbers):
            found.append((ast.unparse(node), node.lineno))
    return found


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_the_end_of_a_thread_or_a_process_is_awaited_with_patience(path):
    if path.name == "simulator_b.py":
        return  # its seconds are those of a simulated haul
    found = fixed_limits(ast.parse(path.read_text("utf-8")))
    assert found == [], "wait with `joined`, `ended`, `exit_status` or `until`"


def test_a_fixed_limit_is_found():
    text = "a.join(5)\nb.wait(2.5)\nc.communicate(timeout=60)\nd.wait(600)\ne.join(0.1)\n', '.join(f)\n"
    assert [line for _, line in fixed_limits(ast.parse(text))] == [1, 2, 3]
