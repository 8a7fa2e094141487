/* How large the number of the far view is, and what the tab says: what needs no browser. */

/** Share of the screen's long side that digits are high: 45 mm of 140 mm, read from 9 m (1/200 of the
    distance; common practice, no source). */
export const DIGITS_SHARE = 45 / 140;
/** Share of the short side that digits may fill, so that the lines above and below keep their place. */
export const MOST_OF_SHORT = 0.7;
/** Narrowest that digits are squeezed before they are made smaller; chosen by us: still told apart at once. */
export const MOST_SQUEEZE = 0.62;
const MOST_OF_LONG = 0.97;

/**
 * Size of a text that runs along the longer side of a screen.
 * @param {number} width of the screen, px
 * @param {number} height of the screen, px
 * @param {number} rise height of a digit, for a font of 1 px
 * @param {number} run width of the text, for a font of 1 px
 * @returns {{ turned: boolean, font: number, squeeze: number, digits: number }} whether the text runs along the
 *   screen's height; size of the font, px; horizontal factor; height of a digit, px
 */
export function farSize(width, height, rise, run) {
  const turned = height > width;
  const [long, short] = turned ? [height, width] : [width, height];
  const wanted = Math.min(DIGITS_SHARE * long, MOST_OF_SHORT * short);
  let font = wanted / rise;
  const room = MOST_OF_LONG * long;
  let squeeze = Math.min(1, room / (font * run));
  if (squeeze < MOST_SQUEEZE) {
    squeeze = MOST_SQUEEZE;
    font = room / (run * squeeze);
  }
  return { turned, font, squeeze, digits: font * rise };
}

/**
 * What the tab says: the worst alarm, the state, the tension, then the rig.
 * @param {number} level highest alarm that is not acknowledged: 0 none, 1 caution, 2 stop
 * @param {string} state in words
 * @param {string} tension with its unit; "" where there is none
 * @param {string} title of the rig
 */
export function tabTitle(level, state, tension, title) {
  const alarm = ["", "CAUTION", "STOP"][level] ?? "";
  return [alarm, tension, state, title].filter((part) => part).join(" · ");
}
