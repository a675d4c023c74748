// Leader lines from each part of the drawing to its findings. Where the words stand depends on the width and on what
// is folded open, so the lines are laid after the page has been laid out, from the boxes themselves.
(function () {
  "use strict";
  const notebook = (window.notebook = window.notebook || {});
  const SVG = "http://www.w3.org/2000/svg";
  let wanted = false;
  let laid = "";

  function lay() {
    wanted = false;
    const place = document.getElementById("vehicle-place");
    const drawing = document.querySelector("#vehicle svg");
    if (!place || !drawing || place.clientWidth === 0) return;
    const frame = place.getBoundingClientRect();
    const lines = [];
    for (const group of document.querySelectorAll("#findings .group")) {
      const anchor = drawing.querySelector('[data-anchor="' + group.dataset.place + '"]');
      const heading = group.querySelector(".group-heading");
      if (!anchor || !heading) continue;
      const from = anchor.getBoundingClientRect();
      const to = heading.getBoundingClientRect();
      const x1 = (from.left + from.right) / 2 - frame.left;
      const y1 = (from.top + from.bottom) / 2 - frame.top;
      const x2 = to.left - frame.left - 6;
      const y2 = to.top - frame.top + Math.min(to.height, 26) / 2;
      const kind = group.classList.contains("group-fail") ? "fail" : group.classList.contains("group-unknown") ? "unknown" : "pass";
      lines.push({ kind: kind, points: [[x1, y1], [x2 - 18, y2], [x2, y2]] });
    }
    const key = JSON.stringify(lines.map(function (line) { return [line.kind, line.points.map(function (p) { return p.map(Math.round); })]; }));
    if (key === laid) return;
    laid = key;
    let overlay = document.getElementById("leaders");
    if (!overlay) {
      overlay = document.createElementNS(SVG, "svg");
      overlay.id = "leaders";
      overlay.setAttribute("aria-hidden", "true");
      place.append(overlay);
    }
    // What passes first, so that what fails lies on top.
    lines.sort(function (a, b) { return (a.kind === "pass" ? 0 : 1) - (b.kind === "pass" ? 0 : 1); });
    overlay.replaceChildren(...lines.map(function (line) {
      const path = document.createElementNS(SVG, "polyline");
      path.setAttribute("class", "leader leader-" + line.kind);
      path.setAttribute("points", line.points.map(function (p) { return p[0].toFixed(1) + "," + p[1].toFixed(1); }).join(" "));
      return path;
    }));
    for (const part of drawing.querySelectorAll(".part")) {
      const group = document.querySelector('#findings .group[data-place="' + part.dataset.place + '"]');
      part.dataset.worst = group ? (group.classList.contains("group-fail") ? "fail" : group.classList.contains("group-unknown") ? "unknown" : "pass") : "none";
    }
  }

  notebook.leaders = function () {
    if (wanted) return;
    wanted = true;
    requestAnimationFrame(lay);
  };
  // The drawing stays in view while a long list of findings is scrolled: its lines move with it.
  window.addEventListener("scroll", notebook.leaders, { passive: true });
  window.addEventListener("resize", function () { laid = ""; notebook.leaders(); });
})();
