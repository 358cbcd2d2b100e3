"use strict";
// Ctrl and "/" (with Ctrl, as a key alone is pressed by mistake: WCAG 2.2, 2.1.4) puts the cursor into the search of the page, or goes to the page that searches everything.
(() => {
  document.addEventListener("keydown", (event) => {
    if (event.key !== "/" || !event.ctrlKey || event.metaKey || event.altKey || event.defaultPrevented) return;
    const field = document.querySelector('main input[name="q"]');
    const link = document.querySelector('nav a[href="/search/"]');
    if (!field && !link) return;
    event.preventDefault();
    if (!field) { link.click(); return; }
    field.focus();
    field.select();
  });
})();
