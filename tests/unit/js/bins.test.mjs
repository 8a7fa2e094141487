// Bins of readings: kept, merged, and read for the graph and for the figures in view.
import assert from "node:assert/strict";
import { test } from "node:test";

import { Bins, inView, line, niceEnd, range } from "../../../dashboard/assets/live/bins.js";

/** Bins of force as the server sends them. */
function sent(level, ...bins) {
  return { level, flat: bins.flat() };
}
function kept(...answers) {
  const bins = new Bins(4);
  bins.base_s = 0.125;
  for (const answer of answers) bins.take(answer);
  return bins;
}

test("the bin that grew replaces the one that is there, and none comes twice", () => {
  const bins = kept(sent(0, [0, 1, 2, 1.5], [1, 3, 4, 3.5]), sent(0, [1, 3, 9, 5], [2, 5, 6, 5.5]), sent(0, [0, 7, 7, 7]), null);
  assert.deepEqual(bins.bins, [[0, 1, 2, 1.5], [1, 3, 9, 5], [2, 5, 6, 5.5]]);
});

test("a coarser level merges what is there without losing a peak", () => {
  const bins = kept(sent(0, [4, 1, 2, 1], [5, 0, 9, 2], [6, 3, 4, 3], [7, 3, 4, 6], [9, 1, 1, 1]), sent(2));
  assert.deepEqual(bins.bins, [[1, 0, 9, 3], [2, 1, 1, 1]]);
  assert.equal(bins.width_s, 0.5);
  assert.deepEqual(range(bins.bins), [0, 9]);
});

test("the mean of a merged bin gives each bin in it the same weight", () => {
  const [[, , , mean]] = kept(sent(0, [0, 0, 0, 1], [1, 0, 0, 2], [2, 0, 0, 3], [3, 0, 0, 10]), sent(2)).bins;
  assert.equal(mean, 4);
});

test("a finer level begins anew", () => {
  assert.deepEqual(kept(sent(1, [0, 1, 2, 1]), sent(0, [3, 4, 5, 4])).bins, [[3, 4, 5, 4]]);
});

test("a window holds the bins that reach into it", () => {
  const bins = kept(sent(0, ...[0, 1, 2, 3, 4].map((k) => [k, k, k, k])));
  assert.deepEqual(bins.between(0.2, 0.4).map((b) => b[0]), [1, 2, 3]);
  assert.deepEqual(bins.bins.map((b) => b[0]), [1, 2, 3, 4]); // older ones are let go
  assert.deepEqual(bins.between(9, 10), []);
});

test("the figures in view are the extremes of the bins and their mean over time", () => {
  assert.equal(inView([]), null);
  assert.deepEqual(inView([[0, -1, 2, 0.5], [1, 1, 7, 3.5], [7, 0, 1, 0.5]]), { high: 7, low: -1, mean: 1.5 });
});

test("the line touches lowest and highest of each bin and is left open over a gap", () => {
  const [x, y] = line([[0, 1, 1], [1, 0, 4], [2, 2, 3], [9, 5, 5]], 1, 2);
  assert.deepEqual(y, [1, 0, 4, 3, 2, null, 5]);
  assert.deepEqual(x, [500, 1250, 1750, 2250, 2750, 3000, 9500]);
  assert.deepEqual(line([], 1, 2), [[], []]);
});

test("an axis ends at a round number that its values do not pass", () => {
  for (const [value, end] of [[1, 1], [1.2, 1.5], [7.5, 8], [81, 100], [0.034, 0.04], [1.0005, 1], [950, 1000]])
    assert.ok(Math.abs(niceEnd(value) - end) < 1e-9 * end, `${value} -> ${niceEnd(value)}`);
});
