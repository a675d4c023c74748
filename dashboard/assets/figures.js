// What Plotly draws of a plot: axes, limits, phases, marks, and the line itself where it is redrawn as a whole.
(function () {
  "use strict";
  const notebook = (window.notebook = window.notebook || {});
  let inks = null;

  // Colours come from the style sheet, so that day and night are decided in one place.
  function ink(name) {
    if (!inks) {
      const style = getComputedStyle(document.documentElement);
      inks = {};
      for (const token of ["ink", "muted", "rule", "fail", "live", "ground", "soft"])
        inks[token] = style.getPropertyValue("--" + token).trim();
      inks.font = getComputedStyle(document.body).fontFamily;
    }
    return inks[name];
  }

  function whole(line) {
    const t = [], v = [];
    line.v.forEach(function (value, k) { if (value !== null) { t.push(line.t[k]); v.push(value); } });
    return { t: t, v: v };
  }

  function traces(plot, lines) {
    const main = lines[plot.key];
    const out = [];
    if (plot.band) {
      const low = whole(lines[plot.key + "/low"]), high = whole(lines[plot.key + "/high"]);
      out.push({ x: low.t, y: low.v, mode: "lines", line: { width: 0 }, hoverinfo: "skip" });
      out.push({ x: high.t, y: high.v, mode: "lines", line: { width: 0 }, fill: "tonexty", fillcolor: ink("live") + "40", hoverinfo: "skip" });
    }
    out.push({ x: main.t, y: main.v, mode: "lines", connectgaps: false, line: { width: plot.key === "height" ? 2.5 : 1.6, color: ink("ink"), simplify: false } });
    if (plot.key === "height" && main.t.length) {
      const k = main.v.length - 1;
      if (main.v[k] !== null) out.push({ x: [main.t[k]], y: [main.v[k]], mode: "markers", cliponaxis: false, marker: { size: 9, color: ink("live") } });
    }
    for (const mark of plot.marks) {
      out.push({
        x: [mark.t_s], y: [mark.value], mode: "markers",
        marker: { size: 15, symbol: "circle-open", color: ink("live"), line: { width: 2.5 } },
        error_y: { type: "data", symmetric: false, array: [mark.high - mark.value], arrayminus: [mark.value - mark.low], color: ink("live"), thickness: 1.5, width: 7 },
      });
    }
    return out;
  }

  function layout(plot, place) {
    const text = { family: ink("font"), size: 13, color: ink("muted") };
    const shapes = [], words = [];
    plot.spans.forEach(function (span, k) {
      if (k % 2 === 1) shapes.push({ type: "rect", layer: "below", xref: "x", yref: "paper", x0: span.from_s, x1: span.to_s, y0: 0, y1: 1, fillcolor: ink("soft"), opacity: 0.55, line: { width: 0 } });
      if (k > 0) shapes.push({ type: "line", xref: "x", yref: "paper", x0: span.from_s, x1: span.from_s, y0: 0, y1: 1, line: { color: ink("muted"), width: 1 } });
      words.push({
        x: (Math.max(span.from_s, plot.x.low) + span.to_s) / 2, y: 1, xref: "x", yref: "paper", yanchor: "bottom", showarrow: false,
        text: span.word.toUpperCase(), font: { family: ink("font"), size: 13, color: ink("ink") },
        wide: (span.to_s - span.from_s) / (plot.x.high - plot.x.low) * place.clientWidth,
      });
    });
    // A phase of seconds on a plot of minutes has room for its letter only; the list of events says the rest.
    const room = words.filter(function (word) { return word.wide > 10; });
    room.forEach(function (word) {
      if (word.wide < word.text.length * 10) word.text = word.text[0];
      delete word.wide;
    });
    for (const limit of plot.limits) {
      if (limit.value < plot.y.low || limit.value > plot.y.high) continue;
      shapes.push({ type: "line", xref: "paper", yref: "y", x0: 0, x1: 1, y0: limit.value, y1: limit.value, line: { color: ink("fail"), width: 1.5, dash: "6px,4px" } });
      // The word stands outside what is allowed, where there is room for it: off the line that keeps within.
      const share = (limit.value - plot.y.low) / (plot.y.high - plot.y.low);
      const below = limit.word.startsWith("least") ? share > 0.25 : share > 0.75;
      room.push({ x: 0.004, y: limit.value, xref: "paper", yref: "y", xanchor: "left", yanchor: below ? "top" : "bottom", showarrow: false, text: limit.word, font: { family: ink("font"), size: 13, color: ink("fail") } });
    }
    for (const mark of plot.marks) {
      const right = (mark.t_s - plot.x.low) / (plot.x.high - plot.x.low) > 0.8;
      room.push({ x: mark.t_s, y: mark.value, xanchor: right ? "right" : "left", xshift: right ? -14 : 14, showarrow: false, text: mark.word, font: { family: ink("font"), size: 16, color: ink("live") } });
    }
    if (plot.nothing) room.push({ x: 0.5, y: 0.5, xref: "paper", yref: "paper", showarrow: false, text: plot.nothing, font: { family: ink("font"), size: 16, color: ink("muted") } });
    const edge = notebook.edge(plot);
    const axis = { fixedrange: true, zeroline: false, tickfont: text, color: ink("muted"), showline: false, ticks: "" };
    return {
      width: place.clientWidth, height: place.clientHeight, autosize: false, showlegend: false, hovermode: false,
      margin: Object.assign({ pad: 0 }, notebook.margins(plot.key)),
      paper_bgcolor: "rgba(0,0,0,0)", plot_bgcolor: "rgba(0,0,0,0)", font: text,
      xaxis: Object.assign({}, axis, { range: [plot.x.low, plot.x.high], tickvals: plot.x.ticks, ticktext: plot.x.labels, showgrid: plot.key === "height", gridcolor: ink("rule") }),
      yaxis: Object.assign({}, axis, { range: [plot.y.low - edge, plot.y.high + edge], tickvals: plot.y.ticks, ticktext: plot.y.labels, gridcolor: ink("rule") }),
      shapes: shapes, annotations: room,
    };
  }

  // Where the plot lies in its place; `strokes.js` draws into the same frame.
  notebook.margins = function (key) { return { l: 62, r: 24, t: key === "height" ? 24 : 10, b: 22 }; };
  // A line along an axis' end keeps its full width.
  notebook.edge = function (plot) { return (plot.y.high - plot.y.low) * 0.04; };
  notebook.forgetInks = function () { inks = null; };

  notebook.figure = function (plot, lines, place) {
    window.Plotly.react(place, lines ? traces(plot, lines) : [], layout(plot, place), { staticPlot: true });
  };
})();
