// The pull loop: a frame is drawn, then the next is asked for, so that this page sets its own pace and nothing ever
// queues up. Everything the page wants to see (its cursor, speed, page, sensor) is in `wish`.
(function () {
  "use strict";
  const notebook = (window.notebook = window.notebook || {});
  const polling = typeof SharedWorker === "undefined";

  const wish = {
    number: 0, page: "auto", at_s: null, playing: false, speed: 1, served_ms: null, tick: -1,
    have: "", have_s: null, text_ms: null, verdict: "", sensor: "", trend_columns: 600, height_columns: 1200,
  };
  const known = { session: null, live: true, following: true, frame: null };
  notebook.wish = wish;
  notebook.known = known;

  function width(id, otherwise) {
    const place = document.getElementById(id);
    return place && place.clientWidth > 0 ? place.clientWidth : otherwise;
  }

  // Without shared workers Dash has no socket: the interval then asks once a second and reads the wish from its store.
  function ask() {
    wish.number += 1;
    wish.trend_columns = width("plot-battery", wish.trend_columns);
    wish.height_columns = width("plot-height", wish.height_columns);
    const data = Object.assign({}, wish);
    window.dash_clientside.set_props(polling ? "wish" : "ready", { data: data });
  }

  // A viewer's act: what the page has drawn so far no longer leads to what comes.
  notebook.change = function (wanted) {
    Object.assign(wish, wanted);
    wish.have = "";
    wish.have_s = null;
    wish.text_ms = null;
    wish.tick = -1;
    wish.served_ms = null;
    ask();
  };
  notebook.askAgain = function () { notebook.change({}); };

  function choosePage() {
    const chosen = location.hash.slice(1);
    const page = chosen === "pad" || chosen === "flight" ? chosen : "auto";
    if (page !== wish.page) notebook.change({ page: page });
  }
  window.addEventListener("hashchange", choosePage);

  function showPage(answer) {
    const frame = answer.frame;
    document.body.dataset.page = frame.page;
    document.body.dataset.when = frame.when;
    for (const name of ["pad", "flight"]) {
      const link = document.getElementById("to-" + name);
      if (!link) continue;
      if (name === frame.page) link.setAttribute("aria-current", "page");
      else link.removeAttribute("aria-current");
    }
    notebook.turned(frame.turned);
  }

  notebook.turned = function (sentence) {
    const place = document.getElementById("turned");
    if (!place || place.dataset.sentence === sentence) return;
    place.dataset.sentence = sentence;
    place.replaceChildren();
    if (!sentence) return;
    place.append(sentence + " ");
    const back = notebook.make("a", "", "Stay on the pad page");
    back.href = "#pad";
    place.append(back);
  };

  function draw(answer, fixed) {
    if (!answer || answer.number !== (polling ? answer.number : wish.number)) return window.dash_clientside.no_update;
    const frame = answer.frame;
    notebook.settle(fixed);
    known.session = answer.session;
    known.live = answer.live;
    known.following = answer.following;
    known.frame = frame;
    wish.served_ms = answer.served_ms;
    wish.tick = answer.tick;
    wish.at_s = answer.following ? null : frame.cursor_s;
    wish.playing = answer.playing;
    wish.verdict = frame.verdict;
    showPage(answer);
    notebook.age(frame);
    if (frame.ruler) {
      wish.text_ms = answer.served_ms;
      notebook.ruler(answer);
      notebook.statusLines(frame.status);
      if (frame.pad) notebook.pad(frame.pad);
      if (frame.flight) notebook.flight(frame.flight);
    }
    if (notebook.lines(frame.plots)) {
      wish.have = frame.plots.signature;
      wish.have_s = frame.plots.upto_s;
    } else {
      wish.have = "";
      wish.have_s = null;
    }
    document.dispatchEvent(new CustomEvent("frame-drawn", { detail: { served_ms: answer.served_ms, number: answer.number } }));
    if (!polling) ask();
    else { wish.number += 1; window.dash_clientside.set_props("wish", { data: Object.assign({}, wish) }); }
    return window.dash_clientside.no_update;
  }

  let settled = false;
  // What never changes is put in place once, with the first frame: drawings, lists of choices.
  notebook.settle = function (fixed) {
    if (settled) return;
    settled = true;
    document.getElementById("vehicle").innerHTML = fixed.vehicle_svg; // made by the station, texts escaped there
    document.getElementById("axis").innerHTML = fixed.axis_svg;
    notebook.chooser("sensor", fixed.choices, fixed.first_choice, function (value) { notebook.change({ sensor: value }); });
    notebook.chooser("speed", fixed.speeds, "1", function (value) { notebook.change({ speed: Number(value) }); });
    notebook.settleTheme();
    notebook.settleRuler();
    notebook.settleWatchdog();
    if (polling) {
      window.dash_clientside.set_props("poll", { disabled: false });
      document.getElementById("slow").textContent =
        "This browser has no shared workers: the page is brought up to date once a second.";
    }
    choosePage();
  };

  notebook.chooser = function (id, choices, first, act) {
    const list = notebook.make("select");
    list.id = id;
    for (const choice of choices) {
      const item = notebook.make("option", "", choice.label);
      item.value = choice.value;
      list.append(item);
    }
    list.value = first;
    list.addEventListener("change", function () { act(list.value); });
    document.getElementById(id + "-place").append(list);
  };

  notebook.statusLines = function (lines) {
    const list = document.getElementById("status-lines");
    const text = lines.join("\n");
    if (list.dataset.text === text) return;
    list.dataset.text = text;
    list.replaceChildren(...lines.map(function (line) { return notebook.make("li", "", line); }));
  };

  window.dash_clientside = window.dash_clientside || {};
  window.dash_clientside.page = { draw: draw };
})();
