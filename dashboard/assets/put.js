// Putting words on the page. Text is set only where it differs: a live region must not be read out again, and a
// number that stays keeps its selection. Nothing is ever put in as markup.
(function () {
  "use strict";
  const notebook = (window.notebook = window.notebook || {});

  notebook.put = function (id, text) {
    const place = document.getElementById(id);
    if (place && place.textContent !== text) place.textContent = text;
  };

  notebook.make = function (tag, className, text) {
    const made = document.createElement(tag);
    if (className) made.className = className;
    if (text !== undefined) made.textContent = text;
    return made;
  };

  // A status is a shape first, then a colour, and always a word: the word is here for those who do not see the shape.
  notebook.mark = function (status) {
    const mark = notebook.make("span", "mark mark-" + status);
    mark.setAttribute("role", "img");
    mark.setAttribute("aria-label", { pass: "passes", fail: "fails", unknown: "unknown", waived: "waived" }[status]);
    return mark;
  };
})();
