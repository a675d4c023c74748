// Frames come at least once a second while the station lives. When they stop, the page says so in large type, asks
// again, and once the station's health address answers and frames still do not come, loads itself anew: Dash's own
// retry gives up after some minutes, a person at a field must not have to know that.
(function () {
  "use strict";
  const notebook = (window.notebook = window.notebook || {});
  const STALE_MS = 2000, ASK_EVERY_MS = 2000, RELOAD_AFTER_MS = 6000, RELOAD_EVERY_MS = 10000;
  let heard = performance.now();
  let asked = 0;
  let failed = false;

  document.addEventListener("frame-drawn", function () {
    heard = performance.now();
    failed = false;
    if (document.body.dataset.lost === "yes") {
      document.body.dataset.lost = "no";
      notebook.put("banner", "");
      notebook.askAgain();
    }
  });

  // A hidden page is slowed down by the browser: silence while hidden says nothing about the station.
  document.addEventListener("visibilitychange", function () {
    if (!document.hidden) heard = Math.max(heard, performance.now() - STALE_MS / 2);
  });

  function reload() {
    const last = Number(sessionStorage.getItem("reloaded") || 0);
    if (Date.now() - last < RELOAD_EVERY_MS) return;
    sessionStorage.setItem("reloaded", String(Date.now()));
    location.reload();
  }

  async function look(silence) {
    try {
      const answer = await fetch("health", { cache: "no-store", signal: AbortSignal.timeout(1500) });
      const health = await answer.json();
      if (failed || health.session !== notebook.known.session || silence > RELOAD_AFTER_MS) reload();
    } catch (problem) {
      failed = true; // it is gone; when it answers again it is another one
    }
  }

  notebook.settleWatchdog = function () {
    heard = performance.now();
    setInterval(function () {
      const now = performance.now();
      const silence = now - heard;
      if (silence < STALE_MS || document.hidden) return;
      const words = notebook.ageWords(silence / 1000);
      document.body.dataset.lost = "yes";
      notebook.put("banner", "No word from the station for " + words + ". All below is old. Trying again.");
      notebook.bandLost(words);
      notebook.put("when-word", "STALE");
      notebook.put("when-beside", "for " + words);
      if (now - asked < ASK_EVERY_MS) return;
      asked = now;
      notebook.askAgain();
      look(silence);
    }, 500);
  };
})();
