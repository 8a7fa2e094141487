/* Numbers and texts of the live page.  Everything is put in as text, never as markup. */
"use strict";
window.haul = window.haul || {};
(function (haul) {
  /* Two significant figures, without powers of ten. */
  function two(value) {
    if (value === 0) return "0";
    const rounded = Number(value.toPrecision(2));
    const places = Math.max(0, 1 - Math.floor(Math.log10(Math.abs(rounded))));
    return rounded.toFixed(Math.min(places, 6));
  }
  /* What people see, as the server was told: "metric" or "us"; numbers come in SI. */
  const LBF_N = 4.4482216152605;
  const FOOT_M = 0.3048;
  let us = false;
  haul.unitsTake = function (name) {
    us = name === "us";
  };
  /* [unit, what one is worth in SI] for an axis that reaches so many newtons, and for one of ways. */
  haul.forceAxis = (reach) => (us ? ["lbf", LBF_N] : reach >= 2000 ? ["kN", 1000] : ["N", 1]);
  haul.lengthAxis = () => (us ? ["ft", FOOT_M] : ["m", 1]);
  /* [number, unit] of newtons. */
  haul.force = function (newton) {
    if (newton === null || newton === undefined) return null;
    if (us) return [two(newton / LBF_N), "lbf"];
    return Math.abs(newton) >= 995 ? [two(newton / 1000), "kN"] : [two(newton), "N"];
  };
  haul.forceText = function (newton) {
    const found = haul.force(newton);
    return found ? found[0] + " " + found[1] : "not known";
  };
  /* [number, unit] of metres, to a hundredth. */
  haul.length = function (metre) {
    if (metre === null || metre === undefined) return null;
    const [unit, size] = haul.lengthAxis();
    const rounded = Number((metre / size).toPrecision(2));
    return [Math.abs(rounded) < 0.995 ? rounded.toFixed(2) : two(metre / size), unit];
  };
  haul.lengthText = function (metre) {
    const found = haul.length(metre);
    return found ? found[0] + " " + found[1] : "not known";
  };
  haul.number = function (value) {
    return value === null || value === undefined ? "not known" : two(value);
  };
  /* A value to two figures and its expanded uncertainty, to the same place and rounded up. */
  haul.plusMinus = function (value, expanded, unit) {
    const end = unit ? " " + unit : "";
    if (value === null || value === undefined) return "not known";
    if (!expanded || !value) return two(value) + end;
    const place = 1 - Math.floor(Math.log10(Math.abs(Number(value.toPrecision(2)))));
    const step = 10 ** -place;
    const shown = Math.min(Math.max(0, place), 6);
    const up = Math.ceil(expanded / step - 1e-9) * step;
    return two(value) + " ± " + up.toFixed(shown) + end;
  };
  haul.forcePlusMinus = function (newton, expanded) {
    const [unit, size] = us ? ["lbf", LBF_N] : Math.abs(newton) >= 995 ? ["kN", 1000] : ["N", 1];
    return haul.plusMinus(newton / size, expanded / size, unit);
  };
  haul.clock = function (seconds) {
    const s = Math.max(0, Math.floor(seconds));
    const two0 = (x) => String(x).padStart(2, "0");
    const h = Math.floor(s / 3600);
    return (h ? h + ":" + two0(Math.floor(s / 60) % 60) : String(Math.floor(s / 60))) + ":" + two0(s % 60);
  };
  haul.ago = function (seconds) {
    return seconds < 2 ? "just now" : seconds < 120 ? seconds + " s ago" : haul.clock(seconds) + " ago";
  };
  haul.id = (name) => document.getElementById(name);
  /* Set text only where it differs, so that nothing is drawn anew in vain. */
  haul.text = function (where, text) {
    const node = typeof where === "string" ? haul.id(where) : where;
    if (node && node.textContent !== text) node.textContent = text;
  };
  haul.make = function (tag, text, name) {
    const node = document.createElement(tag);
    if (text) node.textContent = text;
    if (name) node.className = name;
    return node;
  };
  /* A number in big digits with its unit in small ones; a word where there is no number. */
  haul.digits = function (where, pair, word) {
    const node = haul.id(where);
    if (!node) return;
    if (!node.firstChild) node.append(haul.make("span", "", "n"), haul.make("span", "", "u"));
    haul.text(node.firstChild, pair ? pair[0] : word);
    haul.text(node.lastChild, pair ? pair[1] : "");
    node.classList.toggle("word", !pair);
  };
  haul.list = function (where, texts) {
    const node = haul.id(where);
    if (!node) return;
    while (node.children.length > texts.length) node.lastChild.remove();
    texts.forEach((text, k) => {
      if (!node.children[k]) node.append(haul.make("li"));
      haul.text(node.children[k], text);
    });
  };
})(window.haul);
