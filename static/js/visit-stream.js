/* A stream in the visit form: readings added one after another, or a pasted log played. Each goes through the
   form's own save, and what is shown is what now/ tells any device. Without this the buttons save the page. */
"use strict";
(function () {
  const form = document.querySelector("form.sheet");
  const EVERY = 6, PAUSE_MS = 600;

  function near(button) { return button.closest("[data-firing]").querySelector("[data-live]"); }
  function say(live, text) { live.querySelector("[data-live-said]").textContent = text; }

  async function save(told, playing) {
    const sent = new FormData(form);
    sent.delete("pictures-photos"); // they go with a save of the page
    for (const [name, value] of Object.entries(told)) sent.set(name, value);
    const answer = await fetch(location.href.split("#")[0], { method: "POST", body: sent, headers: { Accept: "application/json" } });
    const saved = await answer.json();
    if (!answer.ok) throw new Error(saved.errors.map((row) => row.field + ": " + row.detail).join(" "));
    form.elements.revision.value = saved.revision;
    /* A log that was saved is not sent again: one that counts seconds would end later each time. */
    form.querySelectorAll("textarea[name$='-log-text']").forEach((log) => { if (log.name !== playing) log.value = ""; });
    const now = document.querySelector("[data-now]");
    if (now) now.dataset.revision = saved.revision;
  }

  async function now() {
    const answer = await fetch(form.dataset.nowAt, { headers: { Accept: "application/json" } });
    if (!answer.ok) throw new Error("Saved, and not answered: save the page to see the judgement.");
    return answer.json();
  }

  function word(text, kind) {
    const span = document.createElement("span");
    span.className = "word" + (kind ? " " + kind : "");
    span.textContent = text;
    return span;
  }

  function show(live, told) {
    live.querySelector("[data-live-cautions]").replaceChildren(...told.cautions.map((row) => {
      const box = document.createElement("div"), text = document.createElement("p"), head = document.createElement("strong");
      box.className = "caution grave";
      head.textContent = row.sentence;
      text.append(head, " " + row.what_to_do);
      box.append(text);
      return box;
    }));
    const said = live.querySelector("[data-live-said]");
    if (told.step.code === "make_safe") return said.replaceChildren(word("make safe", "make_safe"), " " + told.do);
    const read = told.reading, parts = [told.settled ? word("settled") : word("not settled", "act")];
    const why = { too_few: ": too few readings to tell; read at most 8 s apart, or say below that it has settled",
      sloping: ": it still moves", scattered: ": it scatters more than the analyser resolves" }[told.why_not_settled];
    if (!told.settled && why) parts.push(why + ";");
    if (!told.settled && told.to_go_s) parts.push(" about " + Math.round(told.to_go_s) + " s to go");
    if (read && read.co2_pct !== null) {
      parts.push(" CO2 " + read.co2_pct.toFixed(2) + (read.u_co2_pct === null ? "" : " ± " + (2 * read.u_co2_pct).toFixed(2)) + " %");
      if (read.target_co2_pct) parts.push(", target " + read.target_co2_pct.map((x) => x.toFixed(2)).join(" – "));
      if (read.verdict) parts.push(", " + read.verdict.replaceAll("_", " "));
    }
    const more = document.createElement("button");
    more.type = "button";
    more.className = "quiet";
    more.textContent = "Show the judgement and what comes next";
    more.addEventListener("click", () => {
      window.dispatchEvent(new Event("visit-saved"));
      location.hash = "judgement";
      location.reload();
    });
    said.replaceChildren(...parts, document.createElement("br"), told.settled ? more : told.do);
  }

  async function guarded(button, work) {
    const live = near(button);
    button.disabled = true;
    try {
      await work(live);
    } catch (error) {
      say(live, error instanceof TypeError ? "No signal: not saved. What you typed is still here; try again." : "Not saved. " + error.message);
    }
    button.disabled = false;
  }

  form.querySelectorAll("button[name='add']").forEach((button) => {
    button.addEventListener("click", (event) => {
      event.preventDefault();
      guarded(button, async (live) => {
        await save({ add: button.value });
        show(live, await now());
      });
    });
  });

  form.querySelectorAll("input[type='file'][name$='-log-file']").forEach((input) => {
    input.addEventListener("change", async () => {
      if (!input.files.length || input.files[0].size > 500000) return; // the server says what is too long
      const text = await input.files[0].text();
      if (text.includes("\ufffd")) return; // not UTF-8: the server reads it
      form.elements[input.name.replace(/file$/, "text")].value = text;
      input.value = "";
    });
  });

  form.querySelectorAll("[data-play]").forEach((button) => {
    button.hidden = false;
    button.addEventListener("click", () => guarded(button, async (live) => {
      const prefix = button.dataset.play, text = form.elements[prefix + "-text"].value;
      const rows = text.split(/\r?\n/).filter((line) => line.trim()).length;
      if (!rows) throw new Error("Paste a log, or choose a file of it.");
      for (let upto = EVERY; ; upto += EVERY) {
        const last = upto >= rows;
        await save({ [prefix + "-upto"]: upto }, last ? "" : prefix + "-text");
        const told = await now();
        show(live, told);
        if (last || told.step.code === "make_safe") return;
        await new Promise((done) => setTimeout(done, PAUSE_MS));
      }
    }));
  });
})();
