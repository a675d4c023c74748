// The trends' lines, ten times a second. A trend's axes, ticks and limits stand still while its line moves, so Plotly
// draws those when they change, and the line is one path over them: that takes half a millisecond where a whole figure
// takes ten and more, which is what keeps a laptop cool through hours on the pad.
(function () {
  "use strict";
  const notebook = (window.notebook = window.notebook || {});
  const SVG = "http://www.w3.org/2000/svg";

  function stage(place) {
    const found = place.parentNode.querySelector(".stroke");
    if (found) return found;
    const made = document.createElementNS(SVG, "svg");
    made.setAttribute("class", "stroke");
    made.setAttribute("aria-hidden", "true");
    made.append(document.createElementNS(SVG, "path"));
    place.after(made);
    return made;
  }

  notebook.stroke = function (plot, line, place) {
    const margin = notebook.margins(plot.key), edge = notebook.edge(plot);
    const wide = place.clientWidth - margin.l - margin.r, high = place.clientHeight - margin.t - margin.b;
    const perSecond = wide / (plot.x.high - plot.x.low);
    const perUnit = high / (plot.y.high - plot.y.low + 2 * edge);
    const svg = stage(place);
    svg.style.left = margin.l + "px";
    svg.style.width = wide + "px";
    svg.style.height = high + "px";
    svg.style.bottom = margin.b + "px";
    const steps = [];
    let pen = "M";
    for (let k = 0; k < line.t.length; k += 1) {
      if (line.v[k] === null) { pen = "M"; continue; }
      const x = (line.t[k] - plot.x.low) * perSecond;
      const y = high - (line.v[k] - plot.y.low + edge) * perUnit;
      steps.push(pen + x.toFixed(1) + " " + y.toFixed(1));
      pen = "L";
    }
    svg.firstChild.setAttribute("d", steps.join(""));
  };
})();
