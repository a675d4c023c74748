// Day or night: as the system says, unless the viewer decides. The choice is kept in this browser only.
(function () {
  "use strict";
  const notebook = (window.notebook = window.notebook || {});
  const order = ["system", "day", "night"];
  const words = { system: "Light: system", day: "Light: day", night: "Light: night" };
  const asksForNight = matchMedia("(prefers-color-scheme: dark)");

  function kept() {
    try { return localStorage.getItem("light") || "system"; } catch (problem) { return "system"; }
  }

  function apply(choice) {
    const night = choice === "night" || (choice === "system" && asksForNight.matches);
    document.documentElement.dataset.light = night ? "night" : "day";
    document.documentElement.dataset.choice = choice;
    notebook.put("theme", words[choice]);
    if (notebook.redrawLines) notebook.redrawLines();
  }

  apply(order.includes(kept()) ? kept() : "system");
  asksForNight.addEventListener("change", function () { apply(document.documentElement.dataset.choice); });

  notebook.settleTheme = function () {
    apply(document.documentElement.dataset.choice);
    document.getElementById("theme").addEventListener("click", function () {
      const next = order[(order.indexOf(document.documentElement.dataset.choice) + 1) % order.length];
      try { localStorage.setItem("light", next); } catch (problem) { /* a private window keeps nothing */ }
      apply(next);
    });
  };
})();
