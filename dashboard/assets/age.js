// The age of the last packet goes on by itself between frames: when frames stop coming, it must not stand still.
(function () {
  "use strict";
  const notebook = (window.notebook = window.notebook || {});
  let heard = null;

  notebook.age = function (frame) {
    heard = {
      age: frame.packet_age_s, limit: frame.packet_age_limit_s,
      moving: frame.when === "LIVE", at: performance.now(),
    };
    if (!show.last || performance.now() - show.last > 240) show();
  };

  notebook.ageWords = function (seconds) {
    if (seconds < 9.95) return Math.max(0, seconds).toFixed(1) + "\u2009s";
    const whole = Math.round(seconds);
    if (whole < 60) return whole + "\u2009s";
    const two = function (n) { return String(n).padStart(2, "0"); };
    if (whole < 3600) return Math.floor(whole / 60) + "\u2009min " + two(whole % 60) + "\u2009s";
    return Math.floor(whole / 3600) + "\u2009h " + two(Math.floor((whole % 3600) / 60)) + "\u2009min";
  };

  function show() {
    show.last = performance.now();
    if (!heard) return;
    const none = heard.age === null;
    const seconds = none ? 0 : heard.age + (heard.moving ? (performance.now() - heard.at) / 1000 : 0);
    const stale = none || seconds > heard.limit;
    document.body.dataset.packets = stale ? "stale" : "fresh";
    for (const id of ["age", "flight-age"]) notebook.put(id, none ? "none" : notebook.ageWords(seconds));
    for (const id of ["age-old", "flight-age-old"]) notebook.put(id, none ? "received yet" : stale ? "old, stale" : "old");
  }
  setInterval(show, 250);
})();
