// The ruler of the whole session along the foot: where the page stands in time, and how to go elsewhere.
(function () {
  "use strict";
  const notebook = (window.notebook = window.notebook || {});
  let shown = null;

  function go(at_s, playing) {
    if (!shown) return;
    const at = Math.min(Math.max(0, at_s), shown.end_s);
    if (notebook.known.live && at >= shown.end_s - 0.05) notebook.change({ at_s: null, playing: true });
    else notebook.change({ at_s: at, playing: playing === undefined ? notebook.wish.playing && !notebook.known.following : playing });
  }

  function step(seconds) { go(shown.cursor_s + seconds); }

  notebook.settleRuler = function () {
    const ruler = document.getElementById("ruler");
    ruler.addEventListener("pointerdown", function (event) {
      const box = ruler.getBoundingClientRect();
      if (shown) go((event.clientX - box.left) / box.width * shown.end_s);
    });
    ruler.addEventListener("keydown", function (event) {
      const steps = { ArrowLeft: -1, ArrowRight: 1, PageDown: -10, PageUp: 10, ArrowDown: -1, ArrowUp: 1 };
      if (!shown) return;
      if (event.key in steps) step(steps[event.key]);
      else if (event.key === "Home") go(0);
      else if (event.key === "End") go(shown.end_s);
      else return;
      event.preventDefault();
    });
    document.getElementById("back").addEventListener("click", function () { if (shown) step(-10); });
    document.getElementById("on").addEventListener("click", function () { if (shown) step(10); });
    document.getElementById("now").addEventListener("click", function () { if (shown) go(shown.end_s); });
    document.getElementById("play").addEventListener("click", function () {
      if (!shown) return;
      const moving = notebook.known.following || notebook.wish.playing;
      if (moving) notebook.change({ at_s: shown.cursor_s, playing: false });
      else notebook.change({ at_s: shown.cursor_s >= shown.end_s ? 0 : shown.cursor_s, playing: true });
    });
  };

  const STEPS = [1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 14400];
  function graduation(seconds) {
    if (seconds === 0) return "0";
    if (seconds < 120) return seconds + "\u2009s";
    return seconds < 7200 ? seconds / 60 + "\u2009min" : seconds / 3600 + "\u2009h";
  }

  function ticks(ruler, place) {
    const wide = place.clientWidth;
    const parts = Math.max(2, Math.floor(wide / 110));
    const every = STEPS.find(function (s) { return ruler.end_s / s <= parts; }) || 28800;
    const key = [ruler.end_s.toFixed(0), wide, ruler.ticks.length].join("/");
    if (place.dataset.key === key) return;
    place.dataset.key = key;
    const made = [];
    for (let at = 0; at <= ruler.end_s; at += every) {
      const share = ruler.end_s ? at / ruler.end_s : 0;
      const tick = notebook.make("span", "graduation" + (share > 0.96 ? " last" : ""), graduation(at));
      tick.style.left = share * 100 + "%";
      made.push(tick);
    }
    let free = -1e9;
    for (const event of ruler.ticks) {
      const share = ruler.end_s ? event.at_s / ruler.end_s : 0;
      const tick = notebook.make("span", "tick tick-" + event.kind);
      tick.style.left = share * 100 + "%";
      tick.title = event.word;
      if (event.kind === "event") {
        const x = share * wide;
        const long = event.word.length * 7.5 + 12;
        const left = x + long > wide;
        // Words that would lie on one another are left off; the tick and its title stay.
        if ((left ? x - long : x) >= free) {
          tick.append(notebook.make("span", "tick-word" + (left ? " left" : ""), event.word));
          free = left ? x : x + long;
        }
      }
      made.push(tick);
    }
    place.replaceChildren(...made);
  }

  notebook.ruler = function (answer) {
    const ruler = answer.frame.ruler;
    shown = ruler;
    notebook.put("when-word", ruler.word);
    notebook.put("when-beside", ruler.beside);
    notebook.put("clock", ruler.clock);
    notebook.put("margin-word", ruler.word === "LIVE" ? "" : ruler.word + (ruler.beside ? " \u00b7 " + ruler.beside : ""));
    notebook.put("play", answer.following || answer.playing ? "Pause" : "Play");
    notebook.put("now", answer.live ? "Now" : "End");
    const place = document.getElementById("ruler");
    const share = ruler.end_s > 0 ? ruler.cursor_s / ruler.end_s : 1;
    document.getElementById("ruler-cursor").style.left = Math.min(1, share) * 100 + "%";
    place.setAttribute("aria-valuemax", Math.round(ruler.end_s));
    place.setAttribute("aria-valuenow", Math.round(ruler.cursor_s));
    place.setAttribute("aria-valuetext", ruler.word + " " + ruler.beside + ", " + ruler.clock);
    ticks(ruler, document.getElementById("ruler-ticks"));
  };
})();
