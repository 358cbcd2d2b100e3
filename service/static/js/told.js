"use strict";
// Says aloud what htmx changes on a page: how work stands, once, when that changes, and that no answer came.
// A part of a page says how it stands in data-told; the figures that run in it are not read out each second.
(() => {
  // Empty before anything is said in them, or it would not be read out.
  const region = (role, name) => {
    const made = document.createElement("p");
    made.setAttribute("role", role);
    made.className = name;
    document.getElementById("content").prepend(made);
    return made;
  };
  const status = region("status", "unseen");
  const wrong = region("alert", "message told-wrong");
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
