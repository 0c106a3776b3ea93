/* The visit form's clock: how long since the last move, what another device saved meanwhile, and no typing lost.
   Everything here is a help: the form works without it, and what is true is told by the server. */
"use strict";
(function () {
  const form = document.querySelector("form.sheet");
  const timer = form.querySelector(".timer");
  const told = timer ? timer.dataset : {}; // there is none where a closed visit is corrected
  let since = told.since ? Date.parse(told.since) : null;
  let what = told.what;
  const settle = Number(told.settle);

  let changed = document.querySelector(".refusal") !== null;

  function clock(seconds) {
    const minutes = Math.floor(seconds / 60);
    return minutes >= 60 ? Math.floor(minutes / 60) + " h " + (minutes % 60) + " min"
      : minutes + ":" + String(Math.floor(seconds % 60)).padStart(2, "0");
  }

  function tick() {
    if (since === null) return;
    const past = Math.max(0, (Date.now() - since) / 1000);
    const left = Math.ceil(settle - past);
    timer.textContent = clock(past) + " since " + what + ". " +
      (left > 0 ? "Wait " + left + " s more, then read." : "The analyser has had its " + settle + " s.");
    timer.classList.toggle("waiting", left > 0);
  }

  form.querySelectorAll("[data-moved]").forEach((button) => {
    button.hidden = false;
    button.addEventListener("click", () => {
      const trim = button.closest(".line").querySelector("select[name$='-trim']");
      document.getElementById(button.dataset.moved).value = new Date().toISOString();
      since = Date.now();
      what = "the " + (trim.value || "trim") + " was moved";
      button.nextElementSibling.textContent = "Noted " + new Date().toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
      changed = true;
      tick();
    });
  });

  /* What is changed for the test is to be put back: its row appears at the end at once. */
  form.querySelectorAll("[data-back]").forEach((box) => {
    box.addEventListener("change", () => document.getElementById(box.dataset.back).classList.toggle("shown", box.checked));
  });

  /* A reason is asked for where something was not done or does not apply. */
  form.addEventListener("change", (event) => {
    const item = event.target.closest(".item");
    if (item && /-state$/.test(event.target.name) && /^not_/.test(event.target.value)) {
      item.querySelector(".why").open = true;
    }
  });

  form.addEventListener("input", () => { changed = true; });
  form.addEventListener("submit", () => { changed = false; });
  window.addEventListener("visit-saved", () => { changed = false; });
  window.addEventListener("beforeunload", (event) => { if (changed) event.preventDefault(); });

  /* A link to a field inside something folded away opens it. */
  document.addEventListener("click", (event) => {
    const link = event.target.closest("a[href^='#']");
    const aim = link && document.getElementById(link.hash.slice(1));
    for (let box = aim && aim.closest("details"); box; box = box.parentElement.closest("details")) box.open = true;
  });

  const now = document.querySelector("[data-now]");
  let tag = null;
  async function ask() {
    if (document.hidden) return;
    try {
      const answer = await fetch(form.dataset.nowAt, { headers: { Accept: "application/json" } });
      if (!answer.ok || answer.headers.get("ETag") === tag) return;
      tag = answer.headers.get("ETag");
      const told = await answer.json();
      if (String(told.revision) === now.dataset.revision) return;
      now.querySelector("[data-now-do]").textContent = told.do;
      const settled = now.querySelector("[data-now-settled]");
      if (settled) settled.textContent = told.settled ? "settled" : "not settled" + (told.to_go_s ? ", about " + Math.round(told.to_go_s) + " s to go" : "");
      now.querySelector("[data-now-elsewhere]").hidden = false;
    } catch { /* No signal: what stands stays, and the next round asks again. */ }
  }

  tick();
  setInterval(tick, 1000);
  if (now) setInterval(ask, 10000);
})();
