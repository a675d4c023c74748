// Plots. A frame brings what is new of each line; this page keeps the whole, cut to the window, and draws it. A frame
// that does not continue what is here is refused: the page then asks for whole lines.
(function () {
  "use strict";
  const notebook = (window.notebook = window.notebook || {});
  const held = { signature: "", upto: null, lines: {} };
  let latest = null;
  let drawnAt = 0;
  const standing = {}; // what Plotly has drawn of each trend

  function merge(key, line, from) {
    const old = held.lines[key];
    if (line.from_s === null || !old) {
      held.lines[key] = { t: line.t_s.slice(), v: line.values.slice() };
      return;
    }
    let keep = old.t.length;
    while (keep > 0 && old.t[keep - 1] >= line.from_s) keep -= 1;
    let first = 0;
    while (first < keep && old.t[first] < from) first += 1;
    held.lines[key] = { t: old.t.slice(first, keep).concat(line.t_s), v: old.v.slice(first, keep).concat(line.values) };
  }

  // What of a trend stands still from frame to frame: where its ticks are is measured from the window's end.
  function standingKey(plot, place) {
    return JSON.stringify([
      plot.y, plot.x.labels, plot.x.ticks.map(function (t) { return (t - plot.x.high).toFixed(1); }),
      plot.x.high - plot.x.low, plot.limits, plot.nothing, place.clientWidth, place.clientHeight,
    ]);
  }

  function draw() {
    if (!latest || !window.Plotly) return;
    for (const plot of latest.plots) {
      const place = document.getElementById("plot-" + plot.key);
      if (!place || place.clientWidth === 0 || !held.lines[plot.key]) continue;
      if (plot.key === "height") {
        notebook.figure(plot, held.lines, place);
        continue;
      }
      const key = standingKey(plot, place);
      if (standing[plot.key] !== key) {
        standing[plot.key] = key;
        notebook.figure(plot, null, place);
      }
      notebook.stroke(plot, held.lines[plot.key], place);
    }
    drawnAt = performance.now();
  }

  // Returns whether the lines are now whole up to `upto_s`.
  notebook.lines = function (plots) {
    const continues = plots.continues_s !== null;
    if (continues && (plots.signature !== held.signature || plots.continues_s !== held.upto)) return false;
    if (!continues) held.lines = {};
    for (const plot of plots.plots) {
      merge(plot.key, plot.line, plot.x.low);
      if (plot.band) {
        merge(plot.key + "/low", plot.band[0], plot.x.low);
        merge(plot.key + "/high", plot.band[1], plot.x.low);
      }
    }
    held.signature = plots.signature;
    held.upto = plots.upto_s;
    latest = plots;
    // Ten drawings a second are enough for the eye; a slower machine is left the time it needs.
    if (performance.now() - drawnAt > 90) draw();
    return true;
  };

  notebook.redrawLines = function () {
    notebook.forgetInks();
    for (const key of Object.keys(standing)) delete standing[key];
    draw();
  };
  window.addEventListener("resize", draw);
})();
