// The verdict's band. When the station is not heard from, this page cannot know a verdict, and unknown is HOLD.
(function () {
  "use strict";
  const notebook = (window.notebook = window.notebook || {});

  function fill(verdict, since, reasons, more, settling) {
    const band = document.getElementById("band");
    band.dataset.verdict = verdict;
    band.dataset.settling = settling ? "yes" : "no";
    notebook.put("verdict", verdict);
    notebook.put("verdict-since", since);
    const list = document.getElementById("reasons");
    const sentences = more > 0 ? reasons.concat(["and " + more + " more below"]) : reasons;
    while (list.children.length > sentences.length) list.lastChild.remove();
    while (list.children.length < sentences.length) list.append(notebook.make("li"));
    sentences.forEach(function (sentence, k) {
      const item = list.children[k];
      if (item.textContent !== sentence) item.textContent = sentence;
      item.className = more > 0 && k === sentences.length - 1 ? "more" : "";
    });
  }

  notebook.pad = function (pad) {
    if (document.body.dataset.lost !== "yes")
      fill(pad.band.verdict, pad.band.since, pad.band.reasons, pad.band.more, pad.band.settling);
    notebook.findings(pad.groups);
    notebook.changes(pad.changes);
    notebook.operator(pad.operator);
    for (const heading of pad.headings) {
      if (heading.key !== "sensor") notebook.put(heading.key + "-label", heading.label);
      notebook.put(heading.key + "-value", heading.value);
      notebook.put(heading.key + "-beside", heading.beside);
      notebook.put(heading.key + "-stale", heading.stale ? heading.stale + (heading.stale === "not valid" ? "" : " old") : "");
      document.getElementById(heading.key + "-value").classList.toggle("stale", Boolean(heading.stale));
    }
  };

  notebook.bandLost = function (words) {
    fill("HOLD", "", ["This page has heard nothing from the station for " + words + "."], 0, false);
  };
})();
