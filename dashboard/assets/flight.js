// The flight page's words and numbers, and the marks of the view along the axis.
(function () {
  "use strict";
  const notebook = (window.notebook = window.notebook || {});

  function list(id, lines) {
    const place = document.getElementById(id);
    const text = lines.join("\n");
    if (place.dataset.text === text) return;
    place.dataset.text = text;
    place.replaceChildren(...lines.map(function (line) { return notebook.make("li", "", line); }));
  }

  notebook.flight = function (flight) {
    notebook.put("phase", flight.phase.toUpperCase());
    notebook.put("phase-since", flight.phase_since);
    notebook.put("apogee", flight.apogee);
    document.getElementById("flight").classList.toggle("stale-page", flight.stale);
    for (const number of flight.numbers) {
      notebook.put("number-" + number.key + "-label", number.label);
      figure("number-" + number.key, number.value);
      notebook.put("number-" + number.key + "-beside", number.beside);
    }
    notebook.put("flight-battery", flight.battery);
    notebook.put("flight-battery-beside", flight.battery_beside);
    notebook.put("flight-link", flight.link);
    notebook.put("flight-link-beside", flight.link_beside);
    list("flight-events", flight.events);
    for (const [id, lines] of [["flight-descent", flight.descent], ["flight-motor", flight.motor]]) {
      list(id, lines);
      document.getElementById(id).parentElement.hidden = lines.length === 0;
    }
    notebook.put("flight-warning", flight.warning);
    document.getElementById("flight-warning").hidden = flight.warning === "";
    axis(flight.axis);
  };

  // The unit is smaller than its number, which is what is read from afar.
  function figure(id, words) {
    const place = document.getElementById(id);
    if (place.dataset.words === words) return;
    place.dataset.words = words;
    const cut = words.indexOf("\u2009");
    if (cut < 0) place.replaceChildren(words);
    else place.replaceChildren(words.slice(0, cut + 1), notebook.make("span", "unit", words.slice(cut + 1)));
  }

  // One unit of the drawing is one degree; upwards is positive. Past the outer ring an arrow lies on the ring, and the
  // number beside it says how far it really is.
  function axis(view) {
    const drawing = document.querySelector("#axis svg");
    if (!drawing) return;
    const reach = 2 * view.limit_deg;
    place(drawing, "command", view.command_deg, reach);
    place(drawing, "angle", view.angle_deg, reach);
    const line = drawing.querySelector('[data-mark="tilt"]');
    const head = drawing.querySelector('[data-mark="tilt-head"]');
    const known = view.tilt_deg !== null;
    line.style.display = head.style.display = known ? "" : "none";
    if (known) {
      const end = held(view.tilt_deg, reach);
      line.setAttribute("x2", end[0]);
      line.setAttribute("y2", end[1]);
      const turn = Math.atan2(end[1], end[0]) * 180 / Math.PI;
      head.setAttribute("transform", "translate(" + end[0] + " " + end[1] + ") rotate(" + turn + ")");
    }
    notebook.put("axis-words", view.words);
  }

  function held(pair, reach) {
    const length = Math.hypot(pair[0], pair[1]);
    const scale = length > reach ? reach / length : 1;
    return [pair[0] * scale, -pair[1] * scale];
  }

  function place(drawing, name, pair, reach) {
    const mark = drawing.querySelector('[data-mark="' + name + '"]');
    mark.style.display = pair === null ? "none" : "";
    if (pair === null) return;
    const at = held(pair, reach);
    mark.setAttribute("cx", at[0]);
    mark.setAttribute("cy", at[1]);
  }
})();
