// Findings by place, nose to tail. What stands against GO is written out; what passes folds into a count that opens.
// The elements are kept while the findings keep their order, so that an opened fold stays open and nothing jumps.
(function () {
  "use strict";
  const notebook = (window.notebook = window.notebook || {});
  const verbs = { pass: "passes", fail: "fails", unknown: "unknown", waived: "waived" };

  function shape(groups) {
    return groups.map(function (group) {
      return group.place + ":" + group.rows.map(function (row) { return row.key + "=" + row.status; }).join(",");
    }).join(";");
  }

  function rowElement(row) {
    const item = notebook.make("div", "row row-" + row.status);
    item.dataset.key = row.key;
    const words = notebook.make("div", "row-words");
    words.append(notebook.make("div", "row-text"), notebook.make("div", "row-figures"), notebook.make("div", "row-advice"));
    item.append(notebook.mark(row.status), words);
    return item;
  }

  function fillRow(item, row, brief) {
    const against = row.status !== "pass" && !brief;
    const text = item.querySelector(".row-text");
    const figures = item.querySelector(".row-figures");
    const heading = against ? row.text : row.label;
    if (text.textContent !== heading) text.textContent = heading;
    const advice = item.querySelector(".row-advice");
    const does = against ? row.advice : "";
    if (advice.textContent !== does) advice.textContent = does;
    const since = verbs[row.status] + (row.since ? " for " + row.since : "");
    const pieces = [["row-value", row.value], ["row-limit", row.limit], ["row-since", since]];
    if (figures.children.length !== pieces.length) {
      figures.replaceChildren(...pieces.map(function (piece) { return notebook.make("span", piece[0]); }));
    }
    pieces.forEach(function (piece, k) {
      if (figures.children[k].textContent !== piece[1]) figures.children[k].textContent = piece[1];
    });
  }

  function groupElement(group) {
    const item = notebook.make("div", "group group-" + group.worst);
    item.dataset.place = group.place;
    item.setAttribute("role", "listitem");
    const heading = notebook.make("div", "group-heading");
    heading.append(notebook.make("span", "group-name", group.label));
    item.append(heading);
    const passing = [], unknown = [];
    for (const row of group.rows) {
      const made = rowElement(row);
      if (row.status === "pass") passing.push(made);
      else if (row.status === "unknown") unknown.push(made);
      else item.append(made);
    }
    // When a link falls silent every finding turns unknown for the one reason: the first of a place says it.
    item.append(...unknown.slice(0, 1));
    if (unknown.length > 1) item.append(folded("unknown", unknown.slice(1), unknown.length - 1 + " more unknown"));
    if (passing.length) heading.append(folded("pass", passing, passing.length + (passing.length === 1 ? " passes" : " pass")));
    return item;
  }

  function folded(status, rows, words) {
    const fold = notebook.make("details", "fold");
    const count = notebook.make("summary");
    count.append(notebook.mark(status), notebook.make("span", "", words));
    fold.append(count, ...rows);
    fold.dataset.status = status;
    fold.addEventListener("toggle", notebook.leaders);
    return fold;
  }

  notebook.findings = function (groups) {
    const list = document.getElementById("findings");
    const now = shape(groups);
    if (list.dataset.shape !== now) {
      const open = new Set(Array.from(list.querySelectorAll("details[open]"), function (fold) {
        return fold.closest(".group").dataset.place + fold.dataset.status;
      }));
      list.replaceChildren(...groups.map(groupElement));
      for (const fold of list.querySelectorAll("details"))
        fold.open = open.has(fold.closest(".group").dataset.place + fold.dataset.status);
      list.dataset.shape = now;
    }
    const rows = new Map();
    for (const item of list.querySelectorAll(".row")) rows.set(item.closest(".group").dataset.place + "/" + item.dataset.key, item);
    for (const group of groups) for (const row of group.rows) fillRow(rows.get(group.place + "/" + row.key), row);
    notebook.leaders();
  };

  notebook.changes = function (changes) {
    notebook.put("changes-heading", changes.heading);
    const list = document.getElementById("changes");
    const now = changes.rows.map(function (row) { return row.key + "=" + row.status; }).join(",") + changes.more;
    if (list.dataset.shape !== now) {
      list.dataset.shape = now;
      list.replaceChildren(...changes.rows.map(rowElement));
      if (changes.more) list.append(notebook.make("p", "more", "and " + changes.more + " more"));
    }
    changes.rows.forEach(function (row, k) { fillRow(list.children[k], row, true); });
  };
})();
