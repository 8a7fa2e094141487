/* What a person asks of the recorder: a mark, an undo, a zero, the end.  Each is shown as sent, then as
   taken or refused when the recorder's own row comes back. */
"use strict";
window.haul = window.haul || {};
(function (haul) {
  const TAKEN_WITHIN_MS = 1000;
  const SURE_WITHIN_MS = 5000;
  let waiting = {}; // id -> [what, when]

  function say(text) {
    haul.text("hands-said", text);
  }
  async function ask(verb, what, channel, text) {
    say(what + ": sent");
    try {
      const answer = await fetch("/act/" + verb, {
        method: "POST",
        headers: { "Content-Type": "application/json", "X-Haul-Token": haul.token },
        body: JSON.stringify({ s: haul.session, channel: channel || "", text: (text || "").slice(0, 300) }),
      });
      if (!answer.ok) {
        say(what + ": NOT TAKEN, " + (await answer.text()).slice(0, 200));
        return;
      }
      waiting[(await answer.json()).id] = [what, performance.now()];
    } catch (error) {
      say(what + ": NOT TAKEN, no link");
    }
  }
  /* Two presses within a few seconds, for what should not happen by a brush of the hand. */
  function sure(button, label, question, then) {
    let until = 0;
    button.addEventListener("click", () => {
      if (performance.now() < until) {
        until = 0;
        haul.text(button, label);
        then();
        return;
      }
      until = performance.now() + SURE_WITHIN_MS;
      haul.text(button, question);
      setTimeout(() => haul.text(button, label), SURE_WITHIN_MS);
    });
  }
  haul.handsBuild = function (head) {
    const place = haul.id("hands");
    if (!place || place.firstChild) return;
    const row = haul.make("form", "", "row");
    const note = haul.make("input");
    note.id = "note";
    note.maxLength = 300;
    note.placeholder = "note for a mark";
    note.setAttribute("aria-label", "note for a mark");
    const mark = haul.make("button", "Mark", "main");
    mark.id = "mark";
    row.append(note, mark);
    row.addEventListener("submit", (event) => {
      event.preventDefault();
      ask("mark", "mark", "", note.value);
      note.value = "";
    });
    const more = haul.make("div", "", "row wrap");
    const undo = haul.make("button", "Undo last");
    undo.type = "button";
    undo.addEventListener("click", () => ask("undo", "undo"));
    more.append(undo);
    for (const channel of head.channels.filter((c) => c.unit === "N")) {
      const zero = haul.make("button", "Zero " + channel.name);
      zero.type = "button";
      sure(zero, "Zero " + channel.name, "Nothing on the cell? Press again",
           () => ask("zero", "zero " + channel.name, channel.name));
      more.append(zero);
    }
    const end = haul.make("button", "End recording", "end");
    end.type = "button";
    end.id = "end";
    sure(end, "End recording", "Press again to end", () => ask("end", "end"));
    more.append(end);
    const said = haul.make("p", "", "note");
    said.id = "hands-said";
    said.setAttribute("role", "status");
    place.append(row, more, said);
  };
  /* Answers of the recorder: [id, kind, text]. */
  haul.handsTake = function (answers) {
    for (const [id, kind, text] of answers || []) {
      if (!waiting[id]) continue;
      say(waiting[id][0] + (kind === "refused" ? ": REFUSED, " + text : ": taken"));
      delete waiting[id];
    }
    for (const id of Object.keys(waiting)) {
      if (performance.now() - waiting[id][1] > TAKEN_WITHIN_MS) {
        say(waiting[id][0] + ": NOT TAKEN so far");
        if (performance.now() - waiting[id][1] > 20 * TAKEN_WITHIN_MS) delete waiting[id];
      }
    }
  };
})(window.haul);
