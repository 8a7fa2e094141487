/* Daylight or dark, and keys.  The choice of the theme lives in this tab alone. */
"use strict";
window.haul = window.haul || {};
(function (haul) {
  const KEYS = [
    ["M", "mark", "mark"], ["N", "write a note for the mark", "note"], ["U", "undo the last", "undo"],
    ["A", "acknowledge alarms", "ack"], ["Z", "zero, asks first", "zero"], ["R", "rig changed", "rig-changed"],
    ["E", "end the recording, asks first", "end"], ["P", "pause the view", "pause"],
    ["1 to 5", "time in view", ""], ["S", "sound on or off", "sound"], ["D", "daylight or dark", "theme"],
    ["Esc", "leave a question", ""],
  ];
  let keysOn = true;
  let theme = "";

  function prefersDark() {
    return matchMedia("(prefers-color-scheme: dark)").matches;
  }
  function dark() {
    return theme ? theme === "dark" : prefersDark();
  }
  function wear(name) {
    theme = name;
    if (name) document.documentElement.dataset.theme = name;
    haul.text("theme", dark() ? "Daylight" : "Dark");
    if (haul.graphColours) haul.graphColours();
  }
  function keep(name) {
    try {
      sessionStorage.setItem("theme", name);
    } catch (error) {
      // a browser that keeps nothing: the theme holds until the page is left
    }
  }
  function kept() {
    try {
      return sessionStorage.getItem("theme") || "";
    } catch (error) {
      return "";
    }
  }
  function press(event) {
    if (!keysOn || event.ctrlKey || event.altKey || event.metaKey || event.repeat) return;
    if (event.key === "Escape") {
      haul.handsLeave();
      return;
    }
    if (/^(input|textarea|select)$/i.test(event.target.tagName)) return;
    const key = event.key.toUpperCase();
    const spans = haul.id("spans").querySelectorAll("button[value]");
    if (/^[1-5]$/.test(key) && spans[key - 1]) spans[key - 1].click();
    const found = KEYS.find((k) => k[0] === key && k[2]);
    const node = found && haul.id(found[2]);
    if (!node || node.disabled || !node.offsetParent) return;
    event.preventDefault();
    if (node.tagName === "INPUT") node.focus();
    else node.click();
  }
  haul.lookBuild = function () {
    wear(kept() === "dark" || kept() === "light" ? kept() : "");
    haul.id("theme").addEventListener("click", () => {
      wear(dark() ? "light" : "dark");
      keep(theme);
    });
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => wear(theme));
    document.addEventListener("keydown", press);
    const place = haul.id("legend");
    const list = haul.make("dl", "", "keyboard");
    for (const [key, what] of KEYS) {
      const item = haul.make("div");
      item.append(haul.make("dt", key), haul.make("dd", what));
      list.append(item);
    }
    const toggle = haul.make("button", "Keys are on");
    toggle.type = "button";
    toggle.id = "keys";
    toggle.setAttribute("aria-pressed", "true");
    toggle.addEventListener("click", () => {
      keysOn = !keysOn;
      haul.text(toggle, keysOn ? "Keys are on" : "Keys are off");
      toggle.setAttribute("aria-pressed", String(keysOn));
    });
    place.append(list, toggle);
  };
})(window.haul);
