"use strict";
// The page's title in the margin of every printed sheet, and a print button where a script can press it.
{
  const [sheet] = document.styleSheets;
  const title = `content: ${JSON.stringify(document.title)}; font: 9pt "Runnel Sans", sans-serif;`;
  sheet.insertRule(`@page { @top-left { ${title} } }`, sheet.cssRules.length);
}
document.querySelectorAll("button.print").forEach((button) => {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
});
