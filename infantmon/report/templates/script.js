(function () {
  "use strict";

  // A box that can be scrolled sideways must be reachable by keyboard; others need no stop there.
  function markScrolling() {
    for (const box of document.querySelectorAll(".scroll")) {
      if (box.scrollWidth > box.clientWidth + 1) { box.tabIndex = 0; } else { box.removeAttribute("tabindex"); }
    }
  }
  markScrolling();
  window.addEventListener("resize", markScrolling);

  const table = document.getElementById("event-table");
  if (!table) { return; }
  const body = table.tBodies[0];
  const rows = Array.from(body.rows);
  const list = document.getElementById("strip-list");
  const strips = Array.from(list.children);
  const count = document.getElementById("count");

  function valueOf(row, column, kind) {
    const text = row.cells[column].dataset.value;
    if (kind === "text") { return text; }
    return text === "" ? Infinity : Number(text);
  }

  function sortBy(head, column) {
    const descending = head.getAttribute("aria-sort") === "ascending";
    const turn = descending ? -1 : 1;
    const kind = head.dataset.sort;
    rows.sort(function (one, other) {
      const a = valueOf(one, column, kind), b = valueOf(other, column, kind);
      if (a === b) { return Number(one.dataset.event) - Number(other.dataset.event); }
      if (a === Infinity || b === Infinity) { return a === Infinity ? 1 : -1; }
      return (a < b ? -1 : 1) * turn;
    });
    body.append(...rows);
    for (const other of table.tHead.rows[0].cells) { other.removeAttribute("aria-sort"); }
    head.setAttribute("aria-sort", descending ? "descending" : "ascending");
  }

  Array.from(table.tHead.rows[0].cells).forEach(function (head, column) {
    if (!head.dataset.sort) { return; }
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = head.textContent;
    button.addEventListener("click", function () { sortBy(head, column); });
    head.replaceChildren(button);
  });

  function filter() {
    const chosen = { kind: new Set(), judgement: new Set() };
    for (const box of document.querySelectorAll("input[data-filter]")) {
      if (box.checked) { chosen[box.dataset.filter].add(box.value); }
    }
    let shown = 0;
    for (const item of rows.concat(strips)) {
      const fits = chosen.kind.has(item.dataset.kind) && chosen.judgement.has(item.dataset.judgement);
      item.toggleAttribute("data-hidden", !fits);
      shown += fits && item.tagName === "TR" ? 1 : 0;
    }
    count.textContent = shown + " of " + rows.length + " events shown";
  }

  function order(which) {
    strips.sort(function (one, other) {
      return one.dataset[which] - other.dataset[which];
    });
    list.append(...strips);
  }

  for (const box of document.querySelectorAll("input[data-filter]")) {
    box.addEventListener("change", filter);
  }
  for (const choice of document.querySelectorAll("input[name=order]")) {
    choice.addEventListener("change", function () { order(choice.value); });
  }
  // A shortcut for the mouse; with the keyboard the same place is reached through the event list.
  for (const block of document.querySelectorAll("[data-goto]")) {
    block.addEventListener("click", function () { location.hash = "event-" + block.dataset.goto; });
  }

  document.getElementById("controls").hidden = false;
  document.getElementById("order").hidden = false;
  document.documentElement.dataset.ready = "true";
})();
