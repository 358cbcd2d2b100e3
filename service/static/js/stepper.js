"use strict";
// Big − and + beside a number field. Without this script the field is a plain one and the buttons stay hidden.
// Arithmetic is on whole steps, so that 7.2 + 0.1 reads 7.3 and never 7.300000000000001.
(() => {
  const places = (text) => (text.split(".")[1] || "").length;

  const stepped = (input, direction) => {
    const step = input.dataset.step || "1";
    const digits = Math.max(places(step), places(input.value.replace(",", ".")));
    const unit = 10 ** digits;
    const typed = Number(input.value.trim().replace(",", "."));
    if (Number.isNaN(typed)) return input.value;
    const from = input.value.trim() === "" ? Number(input.dataset.start || input.dataset.low || "0") : typed;
    let next = input.value.trim() === "" ? from : (Math.round(from * unit) + direction * Math.round(Number(step) * unit)) / unit;
    if (input.dataset.low !== undefined) next = Math.max(next, Number(input.dataset.low));
    if (input.dataset.high !== undefined) next = Math.min(next, Number(input.dataset.high));
    return next.toFixed(digits);
  };

  const press = (button) => {
    const input = button.closest(".stepper").querySelector("input");
    input.value = stepped(input, button.dataset.step === "up" ? 1 : -1);
    input.dispatchEvent(new Event("input", { bubbles: true }));
    input.dispatchEvent(new Event("change", { bubbles: true }));
  };

  const show = (root) => root.querySelectorAll(".stepper button[hidden]").forEach((button) => {
    const name = button.closest(".stepper").querySelector("input").labels[0];
    if (name) button.setAttribute("aria-label", `${button.getAttribute("aria-label")} ${name.firstChild.textContent.trim()}`);
    button.hidden = false;
  });

  document.addEventListener("click", (event) => {
    const button = event.target.closest(".stepper button[data-step]");
    if (button) press(button);
  });
  document.addEventListener("keydown", (event) => {
    if (!event.target.matches(".stepper input") || !["ArrowUp", "ArrowDown"].includes(event.key)) return;
    event.preventDefault();
    event.target.value = stepped(event.target, event.key === "ArrowUp" ? 1 : -1);
    event.target.dispatchEvent(new Event("input", { bubbles: true }));
  });
  document.addEventListener("htmx:load", (event) => show(event.target));
  show(document);
})();
