/* Where the menu of the rig page stands: on the screen, and never over what was touched. */
import assert from "node:assert/strict";
import test from "node:test";
import { besidePlace } from "../../../dashboard/assets/rig/menu_place.js";

const SIZE = { width: 460, height: 500 };

/** @type {(x: number, y: number) => { left: number, top: number, right: number, bottom: number }} */
const finger = (x, y) => ({ left: x - 22, top: y - 22, right: x + 22, bottom: y + 22 });

test("it stands on the screen and beside the finger, wherever that is", () => {
  for (const screen of [{ width: 1280, height: 900 }, { width: 1024, height: 768 }, { width: 1920, height: 1080 }]) {
    for (let x = 10; x < screen.width; x += 97) {
      for (let y = 10; y < screen.height; y += 53) {
        const place = finger(x, y);
        const { left, top } = besidePlace(place, SIZE, screen);
        assert.ok(left >= 0 && left + SIZE.width <= screen.width, `${x},${y}: off the screen`);
        assert.ok(top >= 0 && top + SIZE.height <= screen.height, `${x},${y}: off the screen`);
        const covers = left < place.right && left + SIZE.width > place.left && top < place.bottom && top + SIZE.height > place.top;
        assert.ok(!covers, `${x},${y}: over the finger`);
      }
    }
  }
});

test("of a button as wide as the screen it stands below, or above where there is no room", () => {
  const screen = { width: 800, height: 900 };
  const wide = { left: 10, top: 100, right: 790, bottom: 148 };
  assert.equal(besidePlace(wide, SIZE, screen).top, 158);
  const low = { left: 10, top: 700, right: 790, bottom: 748 };
  assert.equal(besidePlace(low, SIZE, screen).top, 190);
});
