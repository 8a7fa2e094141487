// Numbers, units and times as the pages show them.
import assert from "node:assert/strict";
import { beforeEach, test } from "node:test";

import {
  ago, clock, counted, force, forceAxis, forceOf, forcePlusMinus, forceText, length, lengthAxis, lengthOf, lengthText,
  number, percent, plusMinus, useUnits,
} from "../../../dashboard/assets/shared/format.js";

beforeEach(() => useUnits("metric"));

test("a number has two figures and no power of ten", () => {
  const shown = [[0, "0"], [0.00123, "0.0012"], [0.0999, "0.10"], [1, "1.0"], [9.96, "10"], [99.6, "100"],
                 [123456, "120000"], [-4.44, "-4.4"], [1e-9, "0.000000"]];
  for (const [value, text] of shown) assert.equal(number(value), text);
  assert.equal(number(null), "not known");
  assert.equal(number(undefined), "not known");
});

test("a force changes to kN where two figures would round to one", () => {
  assert.deepEqual(force(994.9), ["990", "N"]);
  assert.deepEqual(force(996), ["1.0", "kN"]);
  assert.deepEqual(force(-2345), ["-2.3", "kN"]);
  assert.equal(force(null), null);
  assert.equal(forceText(undefined), "not known");
});

test("a force against what is allowed has one unit, and figures that tell both apart", () => {
  assert.equal(forceOf(8500, 5100), "8.5 of 5.1 kN");
  assert.equal(forceOf(5104, 5096), "5.104 of 5.096 kN");
  assert.equal(forceOf(1010, 900), "1.0 of 0.90 kN");
  assert.equal(forceOf(912, 900), "910 of 900 N");
  assert.equal(forceOf(900, 900), "900 of 900 N");
  assert.equal(forceOf(1370, 1340), "1.37 of 1.34 kN"); // 1.4 of 1.3 would say 8 % over where it is 2 %
  assert.equal(lengthOf(2.14, 2), "2.1 of 2.0 m");
  useUnits("us");
  assert.equal(forceOf(8500, 5100), "1900 of 1100 lbf");
  useUnits("metric");
});

test("a length has a hundredth below one metre and two figures above", () => {
  for (const [metres, text] of [[0.1234, "0.12 m"], [0.994, "0.99 m"], [0.996, "1.0 m"], [12.34, "12 m"], [0, "0.00 m"]])
    assert.equal(lengthText(metres), text);
  assert.equal(length(null), null);
});

test("US units are those of the international pound-force and foot", () => {
  useUnits("us");
  assert.equal(forceText(4448.2216152605), "1000 lbf");
  assert.equal(lengthText(3.048), "10 ft");
  assert.deepEqual(forceAxis(5000), ["lbf", 4.4482216152605]);
  assert.deepEqual(lengthAxis(), ["ft", 0.3048]);
  useUnits("metric");
  assert.deepEqual(forceAxis(1999), ["N", 1]);
  assert.deepEqual(forceAxis(2000), ["kN", 1000]);
});

test("an uncertainty stands at the value's last place and is never rounded down", () => {
  assert.equal(plusMinus(3.14159, 0.021), "3.1 ± 0.1");
  assert.equal(plusMinus(84.4, 2.01, "%"), "84 ± 3 %");
  assert.equal(plusMinus(0.0456, 0.0021), "0.046 ± 0.003");
  assert.equal(plusMinus(2.5, null), "2.5");
  assert.equal(plusMinus(null, 1), "not known");
  assert.equal(forcePlusMinus(1234, 100), "1.2 ± 0.1 kN");
  assert.equal(forcePlusMinus(350, 12), "350 ± 20 N");
  for (let k = 1; k < 500; k++) {
    const [value, expanded] = [k * 0.37, k * 0.0123];
    assert.ok(Number(plusMinus(value, expanded).split(" ± ")[1]) >= expanded - 1e-9);
  }
});

test("a time is told in minutes, from an hour on in hours", () => {
  for (const [seconds, text] of [[0, "0:00"], [9.99, "0:09"], [61, "1:01"], [3599.9, "59:59"], [3600, "1:00:00"],
                                 [36_061, "10:01:01"], [-5, "0:00"]])
    assert.equal(clock(seconds), text);
  assert.equal(ago(1), "just now");
  assert.equal(ago(2), "2 s ago");
  assert.equal(ago(119), "119 s ago");
  assert.equal(ago(120), "2:00 ago");
});

test("a share is a whole percentage, and a count has its noun", () => {
  assert.equal(percent(0.354), "35 %");
  assert.equal(percent(1.2), "120 %");
  assert.equal(counted(0, "stroke"), "0 strokes");
  assert.equal(counted(1, "stroke"), "1 stroke");
});
