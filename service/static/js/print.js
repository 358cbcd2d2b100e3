"use strict";
// Shows the print button where there is a script to press it with; the browser's own menu does the same.
document.querySelectorAll("button.print").forEach((button) => {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
});
