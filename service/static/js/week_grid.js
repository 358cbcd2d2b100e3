"use strict";
// Moving visits in the grid of days and people: by dragging, or with the arrow keys on a visit.
// Either way the server says what the move would do before it is done; without this script each
// visit is a link to its own page, where the same is chosen in a form.
(() => {
  const grid = document.querySelector("[data-grid]");
  const effect = document.getElementById("effect");
  const visits = [...document.querySelectorAll("a[data-visit]")];
  if (!grid || visits.length === 0) return;
  const rows = [...grid.tBodies[0].rows].map((row) => [...row.querySelectorAll("td[data-day]")]);
  let moving = null;
  let target = null;
  let asked = 0;
  document.getElementById("grid-help").hidden = false;

  const placeOf = (cell) => {
    const row = rows.findIndex((cells) => cells.includes(cell));
    return row < 0 ? null : [row, rows[row].indexOf(cell)];
  };
  const unmark = () => {
    if (target) target.classList.remove("target");
    target = null;
  };
  const forget = () => {
    unmark();
    asked += 1;
    effect.hidden = true;
    effect.replaceChildren();
  };
  const say = (words) => {
    const line = document.createElement("p");
    line.textContent = words;
    effect.replaceChildren(line);
    effect.hidden = false;
  };
  const propose = async (visit, cell) => {
    moving = visit;
    unmark();
    if (cell === visit.closest("td")) { forget(); return; }
    target = cell;
    cell.classList.add("target");
    const mine = ++asked;
    say(`${visit.textContent.trim()} to ${cell.dataset.said} …`);
    const address = new URL(visit.href);
    address.search = new URLSearchParams({ technician: cell.dataset.person, day: cell.dataset.day });
    try {
      const answer = await fetch(address, { headers: { "HX-Request": "true" } });
      if (!answer.ok || answer.redirected) throw new Error(answer.status);
      const words = await answer.text();
      if (mine !== asked) return;
      const read = new DOMParser().parseFromString(words, "text/html");
      effect.replaceChildren(...read.body.childNodes);
      effect.hidden = false;
    } catch {
      if (mine === asked) say("No answer came. Nothing is moved; try again, or open the visit.");
    }
  };

  const steps = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [-1, 0], ArrowDown: [1, 0] };
  document.addEventListener("keydown", (event) => {
    const visit = event.target.closest?.("a[data-visit]");
    if (event.key === "Escape" && target) {
      forget();
      moving?.focus();
      return;
    }
    if (!visit || event.altKey || event.ctrlKey || event.metaKey || event.shiftKey) return;
    if (event.key === "Enter" && target && moving === visit) {
      event.preventDefault();
      (effect.querySelector("button") || effect).focus();
      return;
    }
    const step = steps[event.key];
    if (!step) return;
    event.preventDefault();
    const from = (moving === visit && target) || visit.closest("td");
    const [row, column] = placeOf(from) || [0, 0];
    const next = placeOf(from) ? rows[row + step[0]]?.[column + step[1]] : rows[0]?.[0];
    if (next) propose(visit, next);
  });

  const cellAt = (event) => event.target.closest?.("td[data-day]");
  for (const visit of visits) {
    visit.draggable = true;
    visit.setAttribute("aria-describedby", "grid-help");
    visit.addEventListener("dragstart", (event) => {
      moving = visit;
      event.dataTransfer.effectAllowed = "move";
      event.dataTransfer.setData("text/plain", visit.textContent.trim());
    });
  }
  grid.addEventListener("dragover", (event) => {
    if (!moving || !cellAt(event)) return;
    event.preventDefault();
    event.dataTransfer.dropEffect = "move";
  });
  grid.addEventListener("drop", (event) => {
    const cell = cellAt(event);
    if (!moving || !cell) return;
    event.preventDefault();
    propose(moving, cell).then(() => effect.focus());
  });
})();
