// Which sound is due: each event once, and of what lasts the gravest alone.
import assert from "node:assert/strict";
import { test } from "node:test";

import { lastingSound, newSounds } from "../../../dashboard/assets/live/alarm_sound.js";

const quiet = { alarm: 0, state: "haul", lost: false, nearness: "far", shock: 0 };

test("the gravest of what lasts is sounded", () => {
  assert.equal(lastingSound(quiet), "");
  assert.equal(lastingSound({ ...quiet, lost: true }), "nodata");
  for (const state of ["nodata", "stalled", "cut"]) assert.equal(lastingSound({ ...quiet, state }), "nodata");
  assert.equal(lastingSound({ ...quiet, alarm: 1, lost: true }), "caution");
  assert.equal(lastingSound({ ...quiet, alarm: 1, state: "back" }), "back");
  assert.equal(lastingSound({ ...quiet, alarm: 2, state: "back", lost: true }), "stop");
});

test("two-blocked is said once as it comes and once as it is there, and again in the next stroke", () => {
  const nearness = ["far", "near", "soon", "near", "soon", "met", "soon", "met", null, "met", "far", "soon"];
  const heard = nearness.map((one) => newSounds({ ...quiet, nearness: one }));
  assert.deepEqual(heard, [[], [], ["half"], [], [], ["blocked"], [], [], [], ["blocked"], [], ["half"]]);
});

test("nothing is said of two-blocked while the load is not hauled", () => {
  newSounds({ ...quiet, nearness: "far" });
  assert.deepEqual(newSounds({ ...quiet, state: "held", nearness: "met" }), ["set"]);
  assert.deepEqual(newSounds({ ...quiet, state: "held", nearness: "met" }), []);
});

test("a shock is sounded when it is another one than before", () => {
  newSounds({ ...quiet, shock: 0 });
  const heard = [12.5, 12.5, 12.5, 31, 31].map((shock) => newSounds({ ...quiet, shock }));
  assert.deepEqual(heard, [["shock"], [], [], ["shock"], []]);
});
