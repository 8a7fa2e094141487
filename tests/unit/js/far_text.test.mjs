// How large the digits of the far view are, and what the tab says.
import assert from "node:assert/strict";
import { test } from "node:test";

import { DIGITS_SHARE, MOST_OF_SHORT, MOST_SQUEEZE, farSize, tabTitle } from "../../../dashboard/assets/live/far_text.js";

const RISE = 0.73; // of a digit of a usual font
const DIGIT = 0.7; // width of a digit of a wide font

test("on a phone held upright digits are 45 of 140 mm high, along its long side", () => {
  for (const text of [1.3, 2.3, 3, 4]) {
    const { turned, digits, font, squeeze } = farSize(390, 844, RISE, text * DIGIT);
    assert.equal(turned, true);
    assert.ok(font * squeeze * text * DIGIT <= 844);
    if (text <= 3) assert.ok(digits >= 0.32 * 844, `${text}: ${digits}`);
  }
});

test("a text that is too long is squeezed, then made smaller, and never runs over", () => {
  const { digits, squeeze, font } = farSize(390, 844, RISE, 9 * DIGIT);
  assert.equal(squeeze, MOST_SQUEEZE);
  assert.ok(font * squeeze * 9 * DIGIT <= 844);
  assert.ok(digits < DIGITS_SHARE * 844);
});

test("on a wide screen it does not turn, and leaves room above and below", () => {
  const { turned, digits, squeeze } = farSize(1280, 400, RISE, DIGIT);
  assert.equal(turned, false);
  assert.equal(squeeze, 1);
  assert.ok(Math.abs(digits - MOST_OF_SHORT * 400) < 1e-9);
});

test("the tab says the worst first, then the tension, the state and the rig", () => {
  assert.equal(tabTitle(2, "HAULING", "2.3 kN", "launch"), "STOP · 2.3 kN · HAULING · launch");
  assert.equal(tabTitle(0, "HELD on C1", "", "launch"), "HELD on C1 · launch");
  assert.equal(tabTitle(1, "HAULING", "900 N", ""), "CAUTION · 900 N · HAULING");
});
