(function () {
  "use strict";

  // One form an event, made from the template; the file of decisions is made here and sent nowhere.
  const form = document.getElementById("decision-form");
  const articles = document.querySelectorAll("article[data-decide]");
  if (!form || articles.length === 0) { return; }
  const bar = document.getElementById("save-bar");
  const told = bar.querySelector("[role=status]");
  let reader = "";
  let saved = true;

  function count(number) { return number + (number === 1 ? " decision" : " decisions"); }

  function formOf(article) {
    article.append(form.content.cloneNode(true));
    const box = article.querySelector(".decide");
    const entry = {
      article: article,
      decision: box.querySelector("[name=decision]"),
      by: box.querySelector("[name=by]"),
      note: box.querySelector("[name=note]"),
      filled: article.querySelector(".filled"),
      at: "",
    };
    box.querySelector("legend").textContent = "Your decision on " + article.dataset.name;
    box.addEventListener("input", function (change) { changed(entry, change.target); });
    return entry;
  }

  function changed(entry, field) {
    if (field === entry.by) { reader = entry.by.value.trim(); }
    if (field === entry.decision && entry.by.value === "") { entry.by.value = reader; }
    entry.at = new Date().toISOString();
    const by = entry.by.value.trim(), note = entry.note.value;
    entry.filled.textContent = entry.decision.value === "" ? "" :
      "Decided on this page: " + entry.decision.value + ", by " + (by || "nobody named") +
      (note ? "; note: " + note : "");
    const made = entries.filter(function (one) { return one.decision.value !== ""; }).length;
    saved = made === 0;
    told.textContent = made === 0 ? "No decision on this page yet." : count(made) + ", not saved yet.";
  }

  function lacking(entry) {
    if (entry.decision.value !== "" && entry.by.value.trim() === "") { return ["by whom", entry.by]; }
    if (entry.decision.value === "" && entry.note.value !== "") { return ["a decision", entry.decision]; }
    return null;
  }

  function rowOf(entry) {
    return Object.assign(JSON.parse(entry.article.dataset.decide), {
      decision: entry.decision.value,
      by: entry.by.value.trim(),
      note: entry.note.value,
      decided_at_utc: entry.at,
    });
  }

  function save() {
    const bad = entries.find(lacking);
    if (bad) {
      const [what, field] = lacking(bad);
      told.textContent = "Not saved: " + bad.article.dataset.name + " lacks " + what + ".";
      bad.article.removeAttribute("data-hidden");
      field.focus();
      return;
    }
    const rows = entries.filter(function (entry) { return entry.decision.value !== ""; }).map(rowOf);
    if (rows.length === 0) { return; }
    const text = JSON.stringify({ format: bar.dataset.format, decisions: rows }, null, 1) + "\n";
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([text], { type: "application/json" }));
    link.download = "decisions.json";
    link.click();
    setTimeout(function () { URL.revokeObjectURL(link.href); }, 60000);
    saved = true;
    told.textContent = count(rows.length) + " given to be saved as decisions.json.";
  }

  const entries = Array.from(articles, formOf);
  const button = document.createElement("button");
  button.type = "button";
  button.textContent = "Save decisions";
  button.addEventListener("click", save);
  bar.prepend(button, " ");
  window.addEventListener("beforeunload", function (leaving) { if (!saved) { leaving.preventDefault(); } });
  bar.hidden = false;
  document.getElementById("decide-note").hidden = false;
})();
