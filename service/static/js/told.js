"use strict";
// Says aloud what htmx changes on a page: how work stands, once, when that changes, and that no answer came.
// A part of a page says how it stands in data-told; the figures that run in it are not read out each second.
(() => {
  const status = document.getElementById("told");
  const wrong = document.getElementById("told-wrong");
  const said = (part) => (part.closest("[data-told]") || part.querySelector("[data-told]"))?.dataset.told;
  let last = [...document.querySelectorAll("[data-told]")].map(said)[0];

  document.addEventListener("htmx:load", (event) => {
    const now = said(event.target);
    wrong.textContent = "";
    if (now === undefined || now === last) return;
    last = now;
    status.textContent = now;
  });
  const noAnswer = () => { wrong.textContent = "No answer came. The work goes on without this page; load it again to see how it stands."; };
  document.addEventListener("htmx:sendError", noAnswer);
  document.addEventListener("htmx:responseError", noAnswer);
})();
