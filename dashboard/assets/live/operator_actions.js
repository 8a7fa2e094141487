/* What a person asks of the recorder.  Each is shown as sent, then as taken or refused when the
   recorder's own row comes back; NOT TAKEN where that takes longer than a second. */
"use strict";
window.haul = window.haul || {};
(function (haul) {
  const TAKEN_WITHIN_MS = 1000;
  const FORGOTTEN_MS = 30000;
  const SHOWN = 3;
  let waiting = {}; // id -> [what, when]
  let said = []; // the last requests, the newest first
  let question = null;

  function say(what, how) {
    said = [[what, how], ...said.filter((row) => row[0] !== what)].slice(0, SHOWN);
    haul.text("hands-said", what + ": " + how);
    haul.list("hands-before", said.slice(1).map((row) => row[0] + ": " + row[1]));
    haul.id("hands-said").classList.toggle("not", /^NOT TAKEN|^REFUSED/.test(how));
  }
  async function ask(verb, what, channel, text) {
    const sent = performance.now();
    say(what, "sent");
    try {
      const answer = await fetch("/act/" + verb, {
        method: "POST",
        headers: { "Content-Type": "application/json", "X-Haul-Token": haul.token },
        body: JSON.stringify(
          verb === "rig" ? { s: haul.session, text: text }
            : { s: haul.session, channel: channel || "", text: (text || "").slice(0, 300) }),
        signal: AbortSignal.timeout(3000),
      });
      if (!answer.ok) {
        say(what, "NOT TAKEN, " + (await answer.text()).slice(0, 200));
        return;
      }
      waiting[(await answer.json()).id] = [what, sent];
    } catch (error) {
      say(what, "NOT TAKEN, no link");
    }
  }
  haul.acknowledge = function () {
    ask("ack", "acknowledge");
  };
  /* Ask before doing: a sentence and two buttons in place of the others. */
  function sure(text, yes, then) {
    haul.handsLeave();
    question = haul.make("div", "", "question");
    question.setAttribute("role", "alertdialog");
    question.setAttribute("aria-label", text);
    const go = haul.make("button", yes, "main");
    const leave = haul.make("button", "Leave it");
    go.type = leave.type = "button";
    go.id = "sure";
    leave.addEventListener("click", haul.handsLeave);
    go.addEventListener("click", () => {
      haul.handsLeave();
      then();
    });
    const row = haul.make("div", "", "row wrap");
    row.append(go, leave);
    question.append(haul.make("p", text), row);
    haul.id("hands").prepend(question);
    go.focus({ preventScroll: false });
  }
  haul.handsLeave = function () {
    if (question) question.remove();
    question = null;
  };
  function button(text, id, then) {
    const made = haul.make("button", text);
    made.type = "button";
    if (id) made.id = id;
    made.addEventListener("click", then);
    return made;
  }
  function rigFile() {
    const file = haul.make("input");
    file.type = "file";
    file.accept = ".toml,application/toml,text/plain";
    file.id = "rig-file";
    file.hidden = true;
    file.addEventListener("change", async () => {
      const chosen = file.files[0];
      file.value = "";
      if (!chosen) return;
      if (chosen.size > 50000) {
        say("rig changed", "NOT TAKEN, " + chosen.name + " is longer than 50 kB");
        return;
      }
      const text = await chosen.text();
      sure("Is the rig on the ground now the one of " + chosen.name + "? Its limits become the alarm levels.",
           "Yes, this rig", () => ask("rig", "rig changed", "", text));
    });
    return file;
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
      note.blur();
    });
    const more = haul.make("div", "", "row wrap");
    more.append(button("Undo last", "undo", () => ask("undo", "undo")));
    head.channels.filter((c) => c.unit === "N").forEach((channel, k) => {
      more.append(button("Zero " + channel.name, k ? "" : "zero", () =>
        sure("Is the rope slack, with nothing on the cell of " + channel.name + "? What it reads now becomes nought.",
             "The rope is slack: zero it", () => ask("zero", "zero " + channel.name, channel.name))));
    });
    const file = rigFile();
    more.append(button("Rig changed", "rig-changed", () => file.click()), file);
    const end = button("End recording", "end", () =>
      sure("End the recording and seal the session? Alarms end with it.", "End it", () => ask("end", "end")));
    end.className = "end";
    more.append(end);
    const status = haul.make("p", "", "said");
    status.id = "hands-said";
    status.setAttribute("role", "status");
    const before = haul.make("ul", "", "note");
    before.id = "hands-before";
    place.append(row, more, status, before);
    setInterval(overdue, 100);
  };
  function overdue() {
    for (const id of Object.keys(waiting)) {
      const [what, sent] = waiting[id];
      const since = performance.now() - sent;
      if (since > FORGOTTEN_MS) delete waiting[id];
      else if (since > TAKEN_WITHIN_MS) say(what, "NOT TAKEN for " + Math.floor(since / 1000) + " s");
    }
  }
  /* Answers of the recorder: [id, kind, text]. */
  haul.handsTake = function (answers) {
    for (const [id, kind, text] of answers || []) {
      if (!waiting[id]) continue;
      say(waiting[id][0], kind === "refused" ? "REFUSED, " + text : "taken");
      delete waiting[id];
    }
  };
})(window.haul);
