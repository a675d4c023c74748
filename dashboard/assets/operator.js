// The count beside the verdict, and the operator's panel. What makes things more careful (hold the count, take a
// waiver back) is done at once; what lets the count run or sets a finding aside is asked again first. Whatever is
// done goes to the station as a request of its own and comes back in the next frames, from the recording's side.
(function () {
  "use strict";
  const notebook = (window.notebook = window.notebook || {});
  const MINUTES = 10, SAID_MS = 4000;
  const orders = [
    ["start", "Start count", "Start the count at {}?"],
    ["resume", "Resume count", "Resume the count at {}?"],
    ["hold", "Hold count", ""],
    ["set back", "Set count back", "Set the count back to its start, from {}?"],
  ];
  let shown = null;
  let opener = null;

  function place(id) { return document.getElementById(id); }

  function button(words, act) {
    const made = notebook.make("button", "", words);
    made.type = "button";
    made.addEventListener("click", function () { act(made); });
    return made;
  }

  async function send(wanted) {
    notebook.put("operator-said", "…");
    const body = JSON.stringify(Object.assign({ at_s: notebook.wish.at_s }, wanted));
    try {
      const answer = await fetch("operator", {
        method: "POST", headers: { "Content-Type": "application/json" }, body: body, signal: AbortSignal.timeout(5000),
      });
      const told = await answer.json();
      notebook.put("operator-said", told.text);
      if (!told.taken) return;
      close();
      setTimeout(function () { if (place("operator-said").textContent === told.text) notebook.put("operator-said", ""); }, SAID_MS);
    } catch (problem) {
      notebook.put("operator-said", "The station did not answer: look in the log whether it was done.");
    }
  }

  function close() {
    const form = place("operator-form");
    const inside = form.contains(document.activeElement);
    form.replaceChildren();
    if (inside && opener) (opener.hidden ? place("operator-note") : opener).focus();
    opener = null;
  }

  function open(from, parts, first) {
    opener = from;
    notebook.put("operator-said", "");
    place("operator-form").replaceChildren(...parts);
    first.focus();
  }

  // The question stands where the form stood; "No" is where a second, hasty press does no harm.
  function ask(from, question, yes, wanted) {
    const no = button("No", close);
    open(from, [notebook.make("p", "question", question), no, button(yes, function () { send(wanted); })], no);
  }

  function labelled(words, control, id) {
    const label = notebook.make("label", "", words);
    control.id = id;
    label.htmlFor = id;
    label.append(control);
    return label;
  }

  function line(most) {
    const made = notebook.make("input");
    made.type = "text";
    made.maxLength = most;
    made.autocomplete = "off";
    return made;
  }

  function formOf(parts, act) {
    const made = notebook.make("form");
    made.append(...parts);
    made.addEventListener("submit", function (event) { event.preventDefault(); act(); });
    return made;
  }

  function submit(words) {
    const made = notebook.make("button", "", words);
    made.type = "submit";
    return made;
  }

  function waive(from) {
    const list = notebook.make("select");
    shown.waivable.forEach(function (finding, k) {
      const item = notebook.make("option", "", finding.label);
      item.value = String(k);
      list.append(item);
    });
    const findings = shown.waivable;
    const lasting = line(5);
    lasting.required = true;
    lasting.pattern = "[0-9]{1,3}|([01]?[0-9]|2[0-3]):[0-5][0-9]";
    lasting.title = "Minutes, 1 to 240, or a time of day such as 14:30";
    lasting.value = String(MINUTES);
    const reason = line(200);
    reason.required = true;
    const form = formOf([
      labelled("Finding", list, "waive-finding"), labelled("Minutes or until", lasting, "waive-lasting"),
      labelled("Reason", reason, "waive-reason"), submit("Waive"), button("Cancel", close),
    ], function () {
      const finding = findings[Number(list.value)];
      if (!finding) return;
      const told = lasting.value.includes(":") ? " until " + lasting.value : " for " + lasting.value + "\u2009min";
      ask(opener, "Waive " + finding.label + told + ": " + reason.value + "?", "Yes, waive", {
        do: "waive", check: finding.check, channel: finding.channel, lasting: lasting.value, text: reason.value,
      });
    });
    open(from, [form], list);
  }

  function note(from) {
    const words = line(200);
    words.required = true;
    const form = formOf([labelled("Note", words, "note-text"), submit("Record"), button("Cancel", close)],
      function () { send({ do: "note", text: words.value }); });
    open(from, [form], words);
  }

  function settle() {
    const row = place("operator-buttons");
    if (row.children.length) return;
    for (const [order, words, question] of orders) {
      const made = button(words, function (from) {
        if (question) ask(from, question.replace("{}", shown.count.clock), "Yes, " + words.toLowerCase(), { do: order });
        else send({ do: order });
      });
      made.dataset.order = order;
      row.append(made);
    }
    const waiving = button("Waive a finding", waive);
    waiving.id = "operator-waive";
    const noting = button("Note", note);
    noting.id = "operator-note";
    row.append(waiving, noting);
    place("operator").addEventListener("keydown", function (event) { if (event.key === "Escape") close(); });
  }

  function waivedList(waived) {
    const list = place("operator-waived");
    const names = waived.map(function (finding) { return finding.label; }).join("/");
    if (list.dataset.names !== names) {
      list.dataset.names = names;
      list.replaceChildren(...waived.map(function (finding) {
        const item = notebook.make("li");
        const back = button("Take back", function () {
          send({ do: "take back", check: finding.check, channel: finding.channel });
        });
        back.setAttribute("aria-label", "Take back the waiver of " + finding.label);
        item.append(notebook.mark("waived"), notebook.make("span", "waived-words"), back);
        return item;
      }));
    }
    waived.forEach(function (finding, k) {
      const words = list.children[k].querySelector(".waived-words");
      const text = finding.label + ". " + finding.text;
      if (words.textContent !== text) words.textContent = text;
      list.children[k].lastChild.hidden = document.body.dataset.when !== "LIVE";
    });
  }

  function logList(log) {
    const list = place("operator-log-lines");
    const text = log.join("\n");
    if (list.dataset.text === text) return;
    list.dataset.text = text;
    list.replaceChildren(...log.map(function (words) { return notebook.make("li", "", words); }));
    place("operator-log").hidden = !log.length;
    notebook.put("operator-last", log.length ? log[0] : "");
  }

  notebook.operator = function (operator) {
    shown = operator;
    settle();
    const live = document.body.dataset.when === "LIVE";
    const count = operator.count;
    place("count-place").hidden = !count.clock;
    place("count-place").dataset.phase = count.word;
    notebook.put("count", count.clock);
    notebook.put("count-word", count.word);
    notebook.put("count-why", count.why ? "Count holds. " + count.why : count.ahead);
    for (const made of place("operator-buttons").querySelectorAll("[data-order]"))
      made.hidden = !live || !count.orders.includes(made.dataset.order);
    place("operator-waive").hidden = !live || !operator.waivable.length;
    place("operator-note").hidden = !live;
    notebook.put("operator-when", live ? "" : "only in the present of a live session");
    if (!live && place("operator-form").children.length) close();
    waivedList(operator.waived);
    logList(operator.log);
  };
})();
