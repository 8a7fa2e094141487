// Values that the review page reads off the points of a plot.
import assert from "node:assert/strict";
import { test } from "node:test";

import { nearest, reading, short, step } from "../../../dashboard/assets/review/points.js";

const every = { x: [0, 0.1, 0.2, 0.3, 0.4], y: [1, 2, null, null, 5] };
const cell = { name: "haul force", unit: "N", meta: "measured", width_s: 0, n: 5 };
const columns = { x: [0.25, 0.75, 1.25, 1.75], y: [100, 300, 200, 200] };
const wide = { ...cell, width_s: 1 };

test("the nearest point is one that is no gap", () => {
  assert.equal(nearest(every, 0.12), 1);
  assert.equal(nearest(every, 0.24), 1);
  assert.equal(nearest(every, 0.26), 4);
  assert.equal(nearest(every, -9), 0);
  assert.equal(nearest({ x: [], y: [] }, 1), -1);
});

test("every reading is read as it is, and nothing is read in a gap", () => {
  assert.equal(reading(every, cell, 0.09, 4), "haul force 2 N");
  assert.equal(reading(every, cell, 0.25, 1), "haul force: no reading");
});

test("a column is read from its lowest to its highest", () => {
  assert.equal(reading(columns, wide, 0.3, 40), "haul force 100 to 300 N");
  assert.equal(reading(columns, wide, 1.5, 40), "haul force 200 N");
  assert.equal(reading(columns, wide, 9, 40), "haul force: no reading");
});

test("a step goes to the next reading, else by a column", () => {
  assert.equal(step(every, cell, 0.1, -1, 4), 0);
  assert.equal(step(every, cell, 0, -1, 4), -0.02);
  assert.equal(step(columns, wide, 0.5, 1, 40), 1.5);
  assert.equal(step(undefined, undefined, 1, 1, 2), 1.01);
});

test("a number has four figures", () => {
  assert.deepEqual([short(1.23456), short(12345.6), short(0.5)], ["1.235", "12346", "0.5"]);
});
